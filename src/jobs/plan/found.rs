//! From what identification found in a space to what its chips allow.

use super::{Pace, SectorLock, SectorNow, Unit, Ways};
use crate::bus::{Millivolts, Width};
use crate::chips::cfi::Volts;
use crate::chips::write::{Abilities, LockKind, sectors};
use crate::chips::{Asking, Catalogue, Geometry, Writing};
use crate::jobs::identify::{FlashFound, Lock, Locks, MIXED, SpaceReport};
use crate::module::Space;

/// What the chips of `space` allow; the error is the sentence that says why nothing can be written
/// there.
pub fn ways(
    space: &Space,
    rail: Millivolts,
    found: &SpaceReport,
    catalogue: &Catalogue,
) -> Result<Ways, String> {
    let unlike = |warning: &&String| !warning.starts_with(MIXED);
    if let Some(warning) = found.warnings.iter().find(unlike) {
        return Err(warning.clone());
    }
    let [flash] = &found.flash[..] else {
        let why = match found.flash.len() {
            0 => found.notes.first().map_or("its chips did not answer commands", |note| note),
            _ => "its chips take commands in more than one way",
        };
        return Err(why.to_owned());
    };
    if flash.chips.len() != space.chips.len() {
        return Err("not all of its chips take commands together".into());
    }
    if let Some(volts) = other_supply(flash, catalogue, rail) {
        let (least, most) = (volts.least, volts.most);
        return Err(format!("a chip is made for {least} to {most}, the rail is {rail}"));
    }
    let way = flash.asking.way;
    let chips = &flash.asking.chips;
    let abilities =
        Abilities::of(&flash.findings, catalogue, chips, way).map_err(|why| why.to_string())?;
    if let Some(slow) = too_slow(flash, abilities, found) {
        return Err(slow);
    }
    let Some(Some(geometry)) = flash.geometries.first() else {
        return Err("the sectors of its chips are not known".into());
    };
    let sectors = sectors(geometry, way, chips).map_err(|why| why.to_string())?;
    let lock = |(first, words): (u32, u32)| SectorNow {
        first,
        words,
        lock: lock_of(flash, geometry, first, abilities.locks),
        in_doubt: false,
    };
    let ways = Ways {
        sectors: sectors.into_iter().map(lock).collect(),
        lanes: space.chips.iter().map(|chip| chip.lane).collect(),
        unit: match (abilities.page_words, abilities.buffer_words) {
            (Some(page), _) => Unit::Page(page),
            (None, Some(line)) => Unit::Line(line),
            (None, None) => Unit::Word,
        },
        unlocks_all: abilities.locks == LockKind::ClearsAll,
        pace: Pace {
            program_us: f64::from(match (abilities.page_words, abilities.buffer_words) {
                (None, Some(_)) => abilities.buffer_us.0,
                _ => abilities.program_us.0,
            }),
            erase_ms: f64::from(abilities.erase_ms.0),
        },
    };
    if ways.fill(space.words) { Ok(ways) } else { Err("its sectors do not fill the space".into()) }
}

/// Why the adapter is too slow to change these chips; `None` if it is not.
fn too_slow(flash: &FlashFound, abilities: Abilities, found: &SpaceReport) -> Option<String> {
    let Asking { shape, width, base, chips, way, .. } = flash.asking.clone();
    match (Writing { shape, width, base, chips, way, abilities }).in_window(&found.window) {
        Ok(Ok(())) => None,
        Ok(Err(slow)) => Some(format!("{slow}; use an adapter that is quick enough")),
        Err(error) => Some(error.to_string()),
    }
}

/// The supply of the first chip that is made for another one than `rail`. Its own table counts, else
/// the part list, where no part that it may be is made for the rail.
fn other_supply(flash: &FlashFound, catalogue: &Catalogue, rail: Millivolts) -> Option<Volts> {
    let fits = |volts: &Volts| (volts.least.0..=volts.most.0).contains(&rail.0);
    flash.findings.iter().zip(&flash.asking.chips).find_map(|(finding, chip)| {
        if let Some(Ok(cfi)) = &finding.cfi {
            return Some(cfi.vcc).filter(|volts| !fits(volts));
        }
        let width = Width::from_bits(chip.lane().bits.into())?;
        let identity = finding.identity(catalogue, width)?;
        let known = identity.parts().iter().map(|part| part.vcc).collect::<Option<Vec<_>>>()?;
        known.first().copied().filter(|_| !known.iter().any(fits))
    })
}

/// The lock of the sector at `first`: of chips side by side the one that holds most.
fn lock_of(flash: &FlashFound, geometry: &Geometry, first: u32, kind: LockKind) -> SectorLock {
    let Some(chip) = flash.asking.chips.first() else { return SectorLock::Open };
    // Chips list their locks in the order of their own addresses.
    let unit = if flash.asking.way.mode == crate::chips::BusMode::Word { 2 } else { 1 };
    let at = u64::from(chip.chip_address(first)) * unit;
    let number = number_at(geometry, at);
    let of_chip = |locks: &Locks| match locks {
        Locks::Read(locks) => number.and_then(|number| locks.get(number)).copied(),
        Locks::NotRead(_) => None,
    };
    let all: Vec<_> = flash.locks.iter().filter_map(of_chip).collect();
    if all.contains(&Lock::Down) {
        return SectorLock::Fixed("it is locked down, which no command undoes");
    }
    match (all.contains(&Lock::Locked), kind) {
        (false, _) => SectorLock::Open,
        (true, LockKind::Fixed) => {
            SectorLock::Fixed("it is locked, and these chips have no command for that here")
        }
        (true, LockKind::Each { .. } | LockKind::ClearsAll) => SectorLock::Opens,
    }
}

/// The number of the sector with a byte of the chip.
fn number_at(geometry: &Geometry, byte: u64) -> Option<usize> {
    let (mut at, mut number) = (0, 0);
    for region in &geometry.regions {
        if byte < at + region.total() {
            return Some(number + ((byte - at) / region.bytes.max(1)) as usize);
        }
        at += region.total();
        number += region.count as usize;
    }
    None
}
