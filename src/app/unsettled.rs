//! A write of a module that has come to no good end: what it left, and what leads back.

use super::image::kept_parts;
use crate::bus::WordAddress;
use crate::image::{PLAN_BACK, RESUME, one_line};
use crate::jobs::{Desk, JobError, SectorNow, VerifyPart};
use crate::module::{Sheet, Space};
use crate::shelf::{
    Action, Capture, CaptureId, Label, Part, PlannedSector, PlannedSpace, Shelf, Stage, StoredPlan,
    Told,
};
use std::ops::RangeInclusive;

/// Such a write.
pub(super) struct Unsettled {
    told: Told,
    plan: StoredPlan,
    /// The module from before it.
    pub way_back: CaptureId,
}

/// True if the note of a capture says that it was taken in the midst of a write, or behind one in which
/// not everything was as planned: see [`Unsettled::note`], and what earlier versions wrote.
pub(super) fn is_of_mixture(note: &str) -> bool {
    let proof_alone = note.contains("the proof of the write of plan ");
    note.contains("the write of plan ") && !proof_alone
}

/// Says so of a capture that is about to be used as an image.
pub(super) fn caution_of_mixture(desk: &Desk<'_>, kept: &Capture) {
    let note = &kept.record.note;
    if is_of_mixture(note) {
        desk.caution(format!("{} holds a mixture: it was {}", kept.id, one_line(note)));
    }
}

/// The last write of a module, if it has come to no good end.
pub(super) fn unsettled(shelf: &Shelf, specimen: &Label) -> Result<Option<Unsettled>, JobError> {
    let told = shelf.last_journal(specimen)?.filter(Told::is_unsettled);
    told.map(|told| with_plan(shelf, told)).transpose()
}

/// Sentences about the last writes of all modules, or of one, that have come to no good end; also
/// about those of which nothing can be known.
pub(super) fn all_unsettled(shelf: &Shelf, of: Option<&Label>) -> Result<Vec<String>, JobError> {
    let nothing = |error: JobError| format!("of a last write nothing is known: {error}");
    let mut said = Vec::new();
    for told in shelf.last_journals()? {
        match told {
            Ok(told) if !told.is_unsettled() => {}
            Ok(told) if of.is_some_and(|of| *of != told.begin.specimen) => {}
            Ok(told) => {
                said.push(with_plan(shelf, told).map_or_else(nothing, |found| found.to_string()));
            }
            Err(error) => said.push(nothing(error.into())),
        }
    }
    Ok(said)
}

fn with_plan(shelf: &Shelf, told: Told) -> Result<Unsettled, JobError> {
    let plan = shelf.plan(&told.begin.plan)?;
    let way_back = match &plan.plan.way_back {
        Some(earlier) => earlier.clone(),
        None => told.begin.backup.clone(),
    };
    Ok(Unsettled { told, plan, way_back })
}

impl std::fmt::Display for Unsettled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { plan, way_back, .. } = self;
        let how = match self.told.ended() {
            Some(_) => "came to its end, and not everything was as planned",
            None => &format!("is not finished: {RESUME} goes on with it"),
        };
        let holds = if self.lacks_proof_alone() {
            "Every sector is written, and the proof of that after a power cycle is missing"
        } else {
            "What the module holds now is neither what it held nor what it is to hold"
        };
        write!(
            f,
            "the write of plan {} to {} {how}. {holds}; {way_back} is the copy from before, and \
             {PLAN_BACK} leads there",
            plan.code, plan.plan.specimen
        )
    }
}

impl Unsettled {
    /// True if every sector was written and nothing but the proof is missing.
    fn lacks_proof_alone(&self) -> bool {
        let changes =
            |sector: &PlannedSector| matches!(sector.action, Action::Program | Action::Erase);
        let stage = |(space, sector): (&PlannedSpace, &PlannedSector)| {
            !changes(sector) || self.told.stage(&space.name, sector.number) == Stage::Written
        };
        self.told.ended().is_none() && self.plan.plan.sectors().all(stage)
    }

    /// What the record of a capture that is taken now says of this: something that stays true.
    pub fn note(&self) -> String {
        let (plan, way_back) = (&self.plan.code, &self.way_back);
        let when = if self.told.ended().is_some() {
            format!("taken after the write of plan {plan}, in which not everything was as planned")
        } else if self.lacks_proof_alone() {
            format!("taken while the proof of the write of plan {plan} was missing")
        } else {
            format!("taken while the write of plan {plan} was unfinished")
        };
        format!("{when}; the copy from before it is {way_back}")
    }

    /// True if there are sectors of which nobody knows what they hold.
    pub fn leaves_doubt(&self) -> bool {
        !self.told.in_doubt().is_empty()
    }

    /// Sectors in doubt of a space: number, first word counted from its base, words.
    fn sectors<'a>(&'a self, space: &'a Space) -> impl Iterator<Item = (u32, u32, u32)> + 'a {
        let of = self.plan.plan.spaces.iter().find(|of| of.name == space.name);
        let doubts = self.told.in_doubt();
        let sectors = of.into_iter().flat_map(|of| of.sectors.iter());
        sectors
            .filter(move |sector| doubts.contains(&(space.name.as_str(), sector.number)))
            .map(|sector| (sector.number, sector.first.0, sector.words))
    }

    /// Words in doubt, by space: first and last on the bus.
    pub fn words(&self, sheet: &Sheet) -> Vec<(usize, RangeInclusive<WordAddress>)> {
        let spaces = sheet.spaces.iter().enumerate();
        let of = |(index, space): (usize, &Space)| {
            let base = space.base;
            let range = |(_, first, words): (u32, u32, u32)| {
                (index, base.plus(first)..=base.plus(first + words.saturating_sub(1)))
            };
            self.sectors(space).map(range).collect::<Vec<_>>()
        };
        spaces.flat_map(of).collect()
    }

    /// `parts` without the words in doubt.
    pub fn sure(&self, sheet: &Sheet, parts: Vec<(usize, Part)>) -> Vec<(usize, Part)> {
        let mut sure = Vec::new();
        for (index, part) in parts {
            let mut from = part.first.0;
            let end = part.first.0 + part.words;
            for (_, first, words) in self.sectors(&sheet.spaces[index]) {
                let (first, last) = (first.max(from), (first + words).min(end));
                if first < last {
                    piece(&mut sure, index, &part, from..first);
                    from = last;
                }
            }
            piece(&mut sure, index, &part, from..end);
        }
        sure
    }

    /// Puts what was there before into the words in doubt of a space, and marks its sectors.
    pub fn mark(
        &self,
        sheet: &Sheet,
        index: usize,
        before: &[VerifyPart],
        now: &mut [u8],
        sectors: &mut [SectorNow],
    ) {
        let space = &sheet.spaces[index];
        let size = space.width.bytes();
        for (_, first, words) in self.sectors(space) {
            for sector in sectors.iter_mut().filter(|sector| {
                sector.first < first + words && first < sector.first + sector.words
            }) {
                sector.in_doubt = true;
            }
            let doubt = first as usize * size..(first + words) as usize * size;
            for part in before.iter().filter(|part| part.space == index) {
                let start = part.part.first.0 as usize * size;
                let from = doubt.start.max(start);
                let to = doubt.end.min(start + part.expected.len());
                if let (Some(room), Some(was)) =
                    (now.get_mut(from..to), part.expected.get(from - start..to.max(start) - start))
                {
                    room.copy_from_slice(was);
                }
            }
        }
    }

    /// What the module held before the write, of every space.
    pub fn before(&self, from: &Shelf, sheet: &Sheet) -> Result<Vec<VerifyPart>, JobError> {
        let cannot = |why: String| {
            JobError::Safety(format!(
                "{self}. That copy cannot be used ({why}), so what stood in the sectors in doubt \
                 is not known: restore the shelf from a backup of it"
            ))
        };
        let read = || -> Result<Vec<VerifyPart>, String> {
            let kept =
                from.get(&self.way_back.to_string(), None).map_err(|error| error.to_string())?;
            let content = from.content(&kept.id).map_err(|error| error.to_string())?;
            Ok(kept_parts(sheet, &kept, None, &content).map_err(|error| error.to_string())?.parts)
        };
        read().map_err(cannot)
    }

    /// Refuses a plan that does not know what this write has left.
    pub fn refuse_unaware(&self, plan: &StoredPlan) -> Result<(), JobError> {
        let what = if plan.code == self.plan.code && self.told.ended().is_none() {
            format!("it is the plan itself: {RESUME} goes on with it, sector by sector")
        } else {
            let known = |(space, number): (&str, u32)| {
                plan.plan.sectors().any(|(of, sector)| {
                    of.name == space && sector.number == number && sector.in_doubt
                })
            };
            if plan.plan.way_back.is_some() && self.told.in_doubt().into_iter().all(known) {
                return Ok(());
            }
            format!("plan {} was made without knowing of that: make a new one", plan.code)
        };
        Err(JobError::Safety(format!("{self}. Nothing was changed now; {what}")))
    }
}

fn piece(into: &mut Vec<(usize, Part)>, index: usize, of: &Part, words: std::ops::Range<u32>) {
    if words.start < words.end {
        let (first, words) = (WordAddress(words.start), words.end - words.start);
        into.push((index, Part { first, words, ..of.clone() }));
    }
}
