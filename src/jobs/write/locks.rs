//! Locks of sectors: cleared only where the plan says so, and as they were at the end.

use super::Place;
use super::bank::{Bank, locked_sectors};
use super::sector::built;
use crate::bus::script::{BuildError, Script};
use crate::chips::LockKind;
use crate::image::RESUME;
use crate::jobs::JobError;
use crate::jobs::runs::{Runs, Start, Window};
use crate::shelf::{Journal, LockedSectors, PlannedSector, Step};

/// Setting or clearing locks lasts up to about a second on old parts (from memory).
const PERMIT_S: u16 = 60;

/// The locks as they are to be again at the end: as they are now, and what an interrupted write
/// has cleared.
pub(super) fn locked(banks: &[Bank<'_>], still: &[LockedSectors]) -> Vec<LockedSectors> {
    let mut all: Vec<_> = banks.iter().map(locked_sectors).collect();
    for before in still {
        match all.iter_mut().find(|now| now.space == before.space) {
            Some(now) => now.sectors.extend(&before.sectors),
            None => all.push(before.clone()),
        }
    }
    for one in &mut all {
        one.sectors.sort_unstable();
        one.sectors.dedup();
    }
    all
}

/// The script that unlocks the one sector at B, where locks go by sector.
pub(super) fn open_one(bank: &Bank<'_>) -> Option<Result<Script, BuildError>> {
    matches!(bank.writing.abilities.locks, LockKind::Each { .. }).then(|| bank.writing.unlock())?
}

/// The script that locks it again.
pub(super) fn close_one(bank: &Bank<'_>) -> Option<Result<Script, BuildError>> {
    matches!(bank.writing.abilities.locks, LockKind::Each { .. }).then(|| bank.writing.lock())?
}

/// Clears all locks of a bank whose chips know no other way, if a sector needs it.
pub(super) async fn clear(
    place: &Place<'_, '_>,
    runs: &mut Runs<'_, '_>,
    bank: &Bank<'_>,
    journal: &mut Journal,
    todo: &[(&PlannedSector, bool)],
) -> Result<(), JobError> {
    let all = bank.writing.abilities.locks == LockKind::ClearsAll;
    let needed = all && todo.iter().any(|(sector, _)| sector.unlock);
    let (true, Some(script)) = (needed, bank.writing.unlock()) else { return Ok(()) };
    place.desk.note(format!(
        "the locks of all sectors of {} are cleared: its chips know no other way; they are set \
         again at the end",
        bank.planned.name
    ));
    journal.add(Step::Unlocking { space: bank.planned.name.clone() })?;
    run(runs, bank, &built(script)?, 0, "its locks could not be cleared").await
}

/// Sets the locks that were set before the write, where all of them were cleared.
pub(super) async fn restore(
    place: &Place<'_, '_>,
    runs: &mut Runs<'_, '_>,
    banks: &[Bank<'_>],
    journal: &mut Journal,
) -> Result<(), JobError> {
    for bank in banks {
        let cleared = journal.told().unlocked(&bank.planned.name);
        let (true, Some(script)) = (cleared, bank.writing.lock()) else { continue };
        let script = built(script)?;
        let wanted = journal.told().begin.locked.clone();
        let wanted = wanted.iter().find(|one| one.space == bank.planned.name);
        for number in wanted.map(|one| one.sectors.as_slice()).unwrap_or_default() {
            let sector = bank.planned.sectors.iter().find(|sector| sector.number == *number);
            let Some(sector) = sector else { continue };
            let what = "a lock could not be set again";
            run(runs, bank, &script, sector.first.0, what).await?;
        }
        journal.add(Step::Relocked { space: bank.planned.name.clone() })?;
        place.desk.note(format!("the locks of {} are as they were", bank.planned.name));
    }
    Ok(())
}

async fn run(
    runs: &mut Runs<'_, '_>,
    bank: &Bank<'_>,
    script: &Script,
    first: u32,
    what: &str,
) -> Result<(), JobError> {
    let at = bank.planned.base.plus(first);
    let window = Window {
        shape: bank.writing.shape,
        start: at,
        words: 1,
        addresses: bank.writing.command_addresses(),
        lanes: bank.writing.width.ones(),
    };
    runs.permit_window(window, PERMIT_S).await?;
    let start = Start { at, n: 1, payload: Vec::new() };
    let reply = runs.run(script, bank.planned.width, start).await?;
    if reply.status == 0 {
        return Ok(());
    }
    Err(JobError::Safety(format!(
        "{}: {what} (at word {at}, the chips read 0x{:X}); {RESUME} tries again",
        bank.planned.name, reply.d
    )))
}
