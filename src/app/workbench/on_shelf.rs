//! What the shelf knows of the module that is connected: a write that was interrupted, and one
//! that nobody has answered for.

use super::core::Core;
use super::handle::Tone;
use super::planned::UnfinishedWrite;
use crate::app::ShelfDesk;
use crate::app::started::unanswered;
use crate::jobs::JobError;
use crate::shelf::{Label, OsDisk, Shelf, Step, StoredPlan, Told};
use jiff::Timestamp;
use std::path::Path;
use std::sync::Arc;

/// When a write was last at work.
fn last_time(told: &Told) -> Timestamp {
    let resumed = told.steps.iter().rev().find_map(|step| match step {
        Step::Resumed { time } => Some(*time),
        _ => None,
    });
    resumed.unwrap_or(told.begin.time)
}

/// The write of this module that is not finished.
fn interrupted(shelf: &Shelf, label: &Label) -> Result<Option<(StoredPlan, Told)>, JobError> {
    let told = shelf.last_journal(label)?.filter(|told| told.ended().is_none());
    told.map(|told| Ok((shelf.plan(&told.begin.plan)?, told))).transpose()
}

fn open(root: &Path, label: &str) -> Result<(Shelf, Label), JobError> {
    Ok((Shelf::open(Arc::new(OsDisk), root)?, crate::app::wanted::label(label)?))
}

impl Core {
    /// Looks for a write that is to be gone on with.
    pub(super) fn look_for_unfinished(&mut self) {
        let found = match self.unfinished() {
            Ok(found) => found,
            Err(error) => {
                self.say(Tone::Trouble, format!("the last write of this module: {error}"));
                None
            }
        };
        let unfinished = found.as_ref().map(|(plan, told)| UnfinishedWrite::new(&plan.plan, told));
        self.common.change(|shared| {
            let snapshot = &mut shared.snapshot;
            snapshot.unfinished = unfinished.map(Arc::new);
            if let Some((plan, told)) = &found
                && snapshot.plan.is_none()
            {
                let code = Some(plan.code.to_string());
                super::facts::lay_over(snapshot, code, &plan.plan, Some(told));
            }
        });
    }

    /// Tells of a write that was broken off in its proof: its outcome does not say so.
    pub(super) fn tell_unproven(&self) {
        let unfinished = self.common.shared().snapshot.unfinished.clone();
        if let Some(unfinished) = unfinished.filter(|one| one.is_unproven()) {
            let UnfinishedWrite { code, .. } = &*unfinished;
            self.say(Tone::Trouble, format!("plan {code}: {}; w goes on", unfinished.progress()));
        }
    }

    fn unfinished(&self) -> Result<Option<(StoredPlan, Told)>, JobError> {
        let (label, simulated) = {
            let snapshot = &self.common.shared().snapshot;
            (snapshot.specimen.clone(), snapshot.simulated)
        };
        let Some(label) = label else { return Ok(None) };
        let (captures, label) = open(&self.places.shelf, &label)?;
        // A bench inside this program holds nothing of what an earlier one was given.
        let made = self.opened.as_ref().and_then(|opened| opened.made);
        let found = interrupted(&captures, &label)?;
        let is_here = |(_, told): &(StoredPlan, Told)| {
            told.begin.simulated == simulated && made.is_none_or(|made| last_time(told) >= made)
        };
        Ok(found.filter(is_here))
    }

    /// Looks for a write that nobody has said of whether the instrument started with it.
    pub(super) fn look_for_unanswered(&mut self) {
        let label = self.common.shared().snapshot.specimen.clone();
        let unfinished = self.common.shared().snapshot.unfinished.is_some();
        // Nobody has started an instrument with a module that is half written.
        let line = label.filter(|_| !unfinished).and_then(|label| {
            let (captures, label) = open(&self.places.shelf, &label).ok()?;
            unanswered(&captures, &label).ok()?
        });
        let day = line.map(|line| line.time.strftime("%Y-%m-%d").to_string());
        self.common.change(|shared| {
            shared.snapshot.unanswered = day;
            shared.snapshot.looks += 1;
        });
    }

    /// Keeps whether the instrument started.
    pub(super) fn started(&mut self, yes: bool) {
        let label = self.common.shared().snapshot.specimen.clone().unwrap_or_default();
        let kept = ShelfDesk::open(&self.places.shelf, None)
            .and_then(|desk| desk.started(&label, yes, ""));
        match kept {
            Ok(answer) => self.say(Tone::Good, answer.text),
            Err(error) => self.say(Tone::Trouble, error.to_string()),
        }
        self.common.change(|shared| shared.snapshot.unanswered = None);
    }
}
