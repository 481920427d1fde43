//! From what a space holds and is to hold to what is done with each of its sectors.

use super::blank::{differing, not_blank, only_programs};
use super::{SectorLock, SectorNow, Ways};
use crate::bus::{Digest, Width, WordAddress};
use crate::module::{Sheet, Space, Zone};
use crate::shelf::{Action, PlannedSector};

/// One space with all its sectors.
pub struct Cut {
    /// What is done with each.
    pub sectors: Vec<PlannedSector>,
    /// Its contents afterwards.
    pub target: Vec<u8>,
    /// Sectors that stay other than they should, with the words that do.
    pub missed: Vec<(u32, u32)>,
}

/// Plans space `index`, which holds `now` and should hold `wanted`; both are as long as it.
pub fn cut(sheet: &Sheet, index: usize, ways: &Ways, now: &[u8], wanted: &[u8]) -> Cut {
    let space = &sheet.spaces[index];
    let size = space.width.bytes();
    let mut cut = Cut { sectors: Vec::new(), target: now.to_vec(), missed: Vec::new() };
    for (number, sector) in ways.sectors.iter().enumerate() {
        let from = sector.first as usize * size;
        let bytes = from..from + sector.words as usize * size;
        let (now, wanted) = (&now[bytes.clone()], &wanted[bytes.clone()]);
        let barred = barred(sheet, index, space, sector);
        let (action, why) = decide(space.width, ways, sector, barred, now, wanted);
        let changes = matches!(action, Action::Program | Action::Erase);
        let number = number as u32;
        if changes {
            cut.target[bytes].copy_from_slice(wanted);
        } else if now != wanted {
            cut.missed.push((number, differing(space.width, now, wanted)));
        }
        let after = if changes { wanted } else { now };
        cut.sectors.push(PlannedSector {
            number,
            first: WordAddress(sector.first),
            words: sector.words,
            action,
            unlock: changes && sector.lock == SectorLock::Opens,
            in_doubt: sector.in_doubt,
            before: Digest::of(space.width, now, false).crc,
            after: Digest::of(space.width, after, false).crc,
            programmed: match action {
                Action::Program => differing(space.width, now, wanted),
                Action::Erase => not_blank(space.width, wanted),
                _ => 0,
            },
            why,
        });
    }
    cut
}

/// A zone with words in the sector because of which it is left alone.
fn barred<'a>(
    sheet: &'a Sheet,
    index: usize,
    space: &Space,
    sector: &SectorNow,
) -> Option<&'a Zone> {
    let first = u64::from(space.base.0) + u64::from(sector.first);
    let end = first + u64::from(sector.words);
    let shares = |zone: &&Zone| u64::from(zone.start.0) < end && u64::from(zone.last().0) >= first;
    sheet.zones_of(index).filter(|zone| zone.live || zone.keep_off).find(shares)
}

fn decide(
    width: Width,
    ways: &Ways,
    sector: &SectorNow,
    barred: Option<&Zone>,
    now: &[u8],
    wanted: &[u8],
) -> (Action, String) {
    if let Some(zone) = barred {
        let what = if zone.keep_off { "never touched" } else { "changing by themselves" };
        return (Action::Leave, format!("words of zone {} in it are {what}", zone.name));
    }
    if now == wanted && !sector.in_doubt {
        return (Action::Keep, String::new());
    }
    match sector.lock {
        SectorLock::Fixed(why) => (Action::Locked, why.to_owned()),
        _ if !sector.in_doubt && only_programs(width, &ways.lanes, ways.unit, now, wanted) => {
            (Action::Program, String::new())
        }
        _ => (Action::Erase, String::new()),
    }
}
