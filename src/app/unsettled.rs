//! A write of a module that has come to no good end: what it left, and what leads back.

use super::image::kept_parts;
use crate::bus::WordAddress;
use crate::jobs::{JobError, SectorNow, VerifyPart};
use crate::module::{Sheet, Space};
use crate::shelf::{CaptureId, Label, Part, Shelf, StoredPlan, Told};
use std::ops::RangeInclusive;

/// Such a write.
pub(super) struct Unsettled {
    told: Told,
    plan: StoredPlan,
    /// The module from before it.
    pub way_back: CaptureId,
}

/// The last write of a module, if it has come to no good end.
pub(super) fn unsettled(shelf: &Shelf, specimen: &Label) -> Result<Option<Unsettled>, JobError> {
    let Some(told) = shelf.last_journal(specimen)?.filter(Told::is_unsettled) else {
        return Ok(None);
    };
    let plan = shelf.plan(&told.begin.plan)?;
    let way_back = match &plan.plan.way_back {
        Some(earlier) => earlier.clone(),
        None => told.begin.backup.clone(),
    };
    Ok(Some(Unsettled { told, plan, way_back }))
}

impl std::fmt::Display for Unsettled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { plan, way_back, .. } = self;
        let how = match self.told.ended() {
            Some(_) => "came to its end, and not everything was as planned",
            None => "is not finished: `buswright resume` goes on with it",
        };
        write!(
            f,
            "the write of plan {} to {} {how}. What the module holds now is neither what it held \
             nor what it is to hold; {way_back} is the copy from before, and `buswright plan \
             --back` leads there",
            plan.code, plan.plan.specimen
        )
    }
}

impl Unsettled {
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
    pub fn before(&self, shelf: &Shelf, sheet: &Sheet) -> Result<Vec<VerifyPart>, JobError> {
        let cannot = |why: String| {
            JobError::Safety(format!(
                "{self}. That copy cannot be used ({why}), so what stood in the sectors in doubt \
                 is not known: restore the shelf from a backup of it"
            ))
        };
        let read = || -> Result<Vec<VerifyPart>, String> {
            let kept =
                shelf.get(&self.way_back.to_string(), None).map_err(|error| error.to_string())?;
            let content = shelf.content(&kept.id).map_err(|error| error.to_string())?;
            Ok(kept_parts(sheet, &kept, None, &content).map_err(|error| error.to_string())?.parts)
        };
        read().map_err(cannot)
    }

    /// Refuses a plan that does not know what this write has left.
    pub fn refuse_unaware(&self, plan: &StoredPlan) -> Result<(), JobError> {
        let what = if plan.code == self.plan.code && self.told.ended().is_none() {
            "it is the plan itself: `buswright resume` goes on with it, sector by sector".to_owned()
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
