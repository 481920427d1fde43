//! Did the instrument start with what was written? Asked until somebody says.

use super::unsettled::unsettled;
use super::{Answer, ShelfDesk};
use crate::image::counted;
use crate::jobs::{Desk, JobError};
use crate::shelf::{HistoryLine, Label, Shelf, ShelfError};
use jiff::Timestamp;
use serde_json::json;

/// The event of a write that came to its good end.
pub(super) const WRITTEN: &str = "written";
/// The event of the answer.
pub(super) const STARTED: &str = "started";

/// The last write of a module that nobody has answered for.
pub(super) fn unanswered(shelf: &Shelf, label: &Label) -> Result<Option<HistoryLine>, ShelfError> {
    let lines = shelf.history(label)?.lines;
    let about = |line: &&HistoryLine| line.event == WRITTEN || line.event == STARTED;
    Ok(lines.iter().rev().find(about).filter(|line| line.event == WRITTEN).cloned())
}

/// Says that the last write has come to no good end, or asks whether the instrument started after
/// it, where nobody has said.
pub(super) fn ask_started(desk: &Desk<'_>, shelf: &Shelf, label: &Label) {
    match (unsettled(shelf, label), unanswered(shelf, label)) {
        (Err(error), _) => desk.caution(format!("of the last write nothing is known: {error}")),
        (Ok(Some(of)), _) => desk.caution(of.to_string()),
        (Ok(None), Ok(Some(line))) => desk.caution(format!(
            "{label} was written to on {}. Did the instrument start with it? Keep the answer: \
             buswright shelf started \"{label}\" yes (or no)",
            line.time.strftime("%Y-%m-%d")
        )),
        (Ok(None), _) => {}
    }
}

impl ShelfDesk {
    /// Keeps whether the instrument started with what was written last.
    pub fn started(&self, label: &str, yes: bool, text: &str) -> Result<Answer, JobError> {
        let label = super::wanted::label(label)?;
        let Some(written) = unanswered(self.shelf(), &label)? else {
            let lines = self.shelf().history(&label)?.lines.len() as u64;
            return Err(JobError::Usage(format!(
                "nothing was written to {label} that is still to be answered for (its history has \
                 {})",
                counted(lines, "line")
            )));
        };
        let answer = if yes { "yes" } else { "no" };
        let said = if text.is_empty() { answer.to_owned() } else { format!("{answer}: {text}") };
        self.shelf().remember(&HistoryLine {
            time: Timestamp::now(),
            specimen: label.clone(),
            event: STARTED.into(),
            text: said.clone(),
            ..written
        })?;
        let value = json!({ "specimen": label.to_string(), "started": yes });
        Ok(Answer::good(format!("kept for {label}: the instrument started: {said}"), value))
    }
}
