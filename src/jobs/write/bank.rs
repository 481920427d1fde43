//! The chips that a plan is for, found again.

use super::WriteRequest;
use crate::bus::WordAddress;
use crate::chips::{Abilities, ID_WORDS, Writing};
use crate::jobs::identify::FlashFound;
use crate::jobs::{ChipReport, IdentifyReport, JobError, Powered, SectorLock, VerifyPart, ways};
use crate::module::Sheet;
use crate::shelf::{
    Action, ChipRecord, LockedSectors, Plan, PlannedSector, PlannedSpace, Stage, StoredPlan, Told,
};

/// One planned space with its chips, and what it holds before and afterwards.
pub(super) struct Bank<'a> {
    /// Its place in the sheet.
    pub index: usize,
    /// Its chips.
    pub writing: Writing,
    /// The plan's part.
    pub planned: &'a PlannedSpace,
    /// What it is to hold.
    pub target: &'a [u8],
    /// What it holds, as the backup says; words that it does not say are 0.
    pub before: Vec<u8>,
    /// Sectors that are locked now.
    pub locked: Vec<u32>,
}

impl Bank<'_> {
    /// Bytes of a sector.
    pub fn bytes(&self, sector: &PlannedSector) -> u64 {
        u64::from(sector.words) * self.planned.width.bytes() as u64
    }

    fn range(&self, sector: &PlannedSector) -> std::ops::Range<usize> {
        let size = self.planned.width.bytes();
        let from = sector.first.0 as usize * size;
        from..from + sector.words as usize * size
    }

    /// What a sector is to hold.
    pub fn target(&self, sector: &PlannedSector) -> &[u8] {
        self.target.get(self.range(sector)).unwrap_or_default()
    }

    /// What a sector held before.
    pub fn before(&self, sector: &PlannedSector) -> &[u8] {
        self.before.get(self.range(sector)).unwrap_or_default()
    }

    /// The first word of a sector on the bus.
    pub fn at(&self, sector: &PlannedSector) -> WordAddress {
        self.planned.base.plus(sector.first.0)
    }

    /// Sectors that are to be written still, and whether each is erased first: one that was in
    /// hand at an interruption is, whatever the plan says and whatever it reads.
    pub fn todo(&self, told: &Told) -> impl Iterator<Item = (&PlannedSector, bool)> {
        let stage = |sector: &PlannedSector| told.stage(&self.planned.name, sector.number);
        let todo = self.planned.sectors.iter().map(move |sector| (sector, stage(sector)));
        let todo: Vec<_> = todo.collect();
        todo.into_iter().filter_map(|(sector, stage)| match (sector.action, stage) {
            (_, Stage::Written) | (Action::Keep | Action::Locked | Action::Leave, _) => None,
            (Action::Program, Stage::Waiting) => Some((sector, false)),
            (Action::Program | Action::Erase, _) => Some((sector, true)),
        })
    }
}

/// The chips of the plan's spaces, refused unless they are those of the plan.
pub(super) fn banks<'a>(
    sheet: &Sheet,
    powered: &Powered,
    found: &IdentifyReport,
    request: &'a WriteRequest<'_>,
) -> Result<Vec<Bank<'a>>, JobError> {
    let plan: &Plan = &request.plan.plan;
    for planned in &plan.spaces {
        let here = found.spaces.iter().find(|space| space.name == planned.name);
        if let Some(why) = here.and_then(|space| space.too_slow.as_ref()) {
            let name = &planned.name;
            return Err(JobError::Safety(format!("{name} cannot be written here: {why}")));
        }
    }
    same_chips(request.plan, found)?;
    let bank = |planned: &'a PlannedSpace| {
        let refuse = |why: String| {
            JobError::Safety(format!("{} cannot be written here: {why}", planned.name))
        };
        let gone = || refuse("it is not in the sheet any more".into());
        let (index, space) = sheet.space(&planned.name).ok_or_else(gone)?;
        if (space.width, space.base, space.words) != (planned.width, planned.base, planned.words) {
            return Err(refuse("the sheet gives it other words than the plan".into()));
        }
        if let Some(why) = &powered.access[index].no_write {
            return Err(refuse(why.to_string()));
        }
        let here = found.spaces.get(index).ok_or_else(gone)?;
        let ways = ways(space, sheet.rail, here, request.catalogue).map_err(&refuse)?;
        let now = ways.sectors.iter().map(|sector| (sector.first, sector.words));
        if !now.eq(planned.sectors.iter().map(|sector| (sector.first.0, sector.words))) {
            return Err(refuse("its sectors are not those of the plan".into()));
        }
        let [flash] = here.flash.as_slice() else {
            return Err(refuse("its chips do not take commands together".into()));
        };
        let FlashFound { asking, findings, .. } = flash;
        let abilities = Abilities::of(findings, request.catalogue, &asking.chips, asking.way)
            .map_err(|why| refuse(why.to_string()))?;
        let writing = Writing {
            shape: asking.shape,
            width: asking.width,
            base: asking.base,
            chips: asking.chips.clone(),
            way: asking.way,
            abilities,
        };
        let target = request.plan.target_of(planned);
        let before = before(planned, index, &request.backup);
        let locked = ways.sectors.iter().enumerate();
        let locked = locked.filter(|(_, sector)| sector.lock != SectorLock::Open);
        let locked = locked.map(|(number, _)| number as u32).collect();
        Ok(Bank { index, writing, planned, target, before, locked })
    };
    plan.spaces.iter().map(bank).collect()
}

/// The words of a space as the backup says.
fn before(planned: &PlannedSpace, index: usize, backup: &[VerifyPart]) -> Vec<u8> {
    let mut all = vec![0; planned.bytes() as usize];
    for piece in backup.iter().filter(|piece| piece.space == index) {
        let from = piece.part.first.0 as usize * planned.width.bytes();
        if let Some(room) = all.get_mut(from..from + piece.expected.len()) {
            room.copy_from_slice(&piece.expected);
        }
    }
    all
}

/// Refuses unless every chip of the plan answers as it did when the plan was made.
pub(super) fn same_chips(plan: &StoredPlan, found: &IdentifyReport) -> Result<(), JobError> {
    for planned in &plan.plan.spaces {
        let now = found.spaces.iter().find(|space| space.name == planned.name);
        let now = now.map(|space| space.chips.as_slice()).unwrap_or_default();
        let same = |(chip, record): (&ChipReport, &ChipRecord)| {
            let now = chip.record(None);
            telling(&now.ids) == telling(&record.ids) && now.cfi == record.cfi
        };
        let unlike = now.iter().zip(&planned.chips).find(|pair| !same(*pair));
        if now.len() == planned.chips.len() && unlike.is_none() {
            continue;
        }
        let (what, was) = match unlike {
            Some((chip, record)) => {
                (format!("{} is {}", chip.reference, chip.what()), record.part.clone())
            }
            None => (format!("{} chips", now.len()), format!("{}", planned.chips.len())),
        };
        return Err(JobError::Safety(format!(
            "these are not the chips that plan {} was made for: in {} {what} now and was {was} then. \
             Nothing more is changed; is it the same module, and is it in its connector properly?",
            plan.code, planned.name
        )));
    }
    Ok(())
}

/// Those of the words read in id mode that say which chip it is: maker and device, and the further
/// words of a device of three. Chips may show anything else in the other places, their contents
/// among it, which a write changes.
fn telling(ids: &str) -> Vec<&str> {
    let words: Vec<_> = ids.split(' ').collect();
    let low = |word: usize, byte: &str| words.get(word).is_some_and(|word| word.ends_with(byte));
    let tells = |word: u32| match word {
        0 | 1 => true,
        0x0E | 0x0F => low(1, "7E"),
        0x100 => low(0, "7F"),
        _ => false,
    };
    // What did not answer is told of in words.
    if words.len() != ID_WORDS.len() || !ids.starts_with("0x") {
        return words;
    }
    ID_WORDS.iter().zip(&words).filter(|(at, _)| tells(**at)).map(|(_, word)| *word).collect()
}

/// The locked sectors of a bank for the journal.
pub(super) fn locked_sectors(bank: &Bank<'_>) -> LockedSectors {
    LockedSectors { space: bank.planned.name.clone(), sectors: bank.locked.clone() }
}

#[cfg(test)]
mod tests {
    use super::telling;

    /// QEMU's parts of the AMD family show contents at the words 3 and 100 in id mode.
    #[test]
    fn contents_that_a_chip_shows_in_id_mode_do_not_make_it_another_chip() {
        let same = |one: &str, other: &str| telling(one) == telling(other);
        let before = "0xBF 0x236D 0x0 0x4A17 0x0 0x0 0xC0DE";
        assert!(same(before, "0xBF 0x236D 0x1 0xFFFF 0x2 0x3 0x1234"));
        assert!(!same(before, "0xBF 0x236E 0x0 0x4A17 0x0 0x0 0xC0DE"));
        let three = "0x1 0x227E 0x0 0x4A17 0x2210 0x2201 0xC0DE";
        assert!(same(three, "0x1 0x227E 0x0 0xFFFF 0x2210 0x2201 0xFFFF"));
        assert!(!same(three, "0x1 0x227E 0x0 0x4A17 0x220C 0x2201 0xC0DE"));
        let continued = "0x7F 0x86 0x0 0x0 0x0 0x0 0x37";
        assert!(!same(continued, "0x7F 0x86 0x0 0x0 0x0 0x0 0x1C"));
        assert!(!same("nothing answers", before));
        assert!(same("nothing answers", "nothing answers"));
    }
}
