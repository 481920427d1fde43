//! Which sectors a chip says are locked. Nothing is unlocked here.

use super::ask::Asker;
use crate::bus::Word;
use crate::chips::{Asking, BusMode, Family, Finding, Geometry};
use crate::jobs::JobError;
use std::fmt;

/// The lock of one sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lock {
    /// It can be changed.
    Open,
    /// It is locked.
    Locked,
    /// It is locked, and stays so whatever command is sent (datasheet `28F640C3` table 4: bit 1).
    Down,
}

/// What chips show of the locks of their sectors.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Locks {
    /// By sector, lowest address first.
    Read(Vec<Lock>),
    /// Why they were not read.
    NotRead(&'static str),
}

/// The numbers of the locked sectors in one line.
impl fmt::Display for Locks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let locked = match self {
            Self::NotRead(why) => return write!(f, "not read: {why}"),
            Self::Read(locked) => locked,
        };
        let numbers: Vec<_> =
            (0..locked.len()).filter(|&sector| locked[sector] != Lock::Open).collect();
        let runs = numbers.chunk_by(|one, two| one + 1 == *two).map(|run| match run {
            [one] => one.to_string(),
            [first, .., last] => format!("{first}-{last}"),
            [] => String::new(),
        });
        let runs: Vec<_> = runs.collect();
        match runs.as_slice() {
            [] => write!(f, "none of {} sectors locked", locked.len()),
            runs => write!(f, "locked: {} of sectors 0-{}", runs.join(", "), locked.len() - 1),
        }
    }
}

/// The chip address where the lock of each sector is read: the third word of the sector in id
/// mode (AMD type: datasheet `Am29LV160D` table 9; Intel type: `28F640C3` table 4).
pub(super) fn lock_addresses(geometry: &Geometry, mode: BusMode) -> Vec<u32> {
    let unit = if mode == BusMode::Word { 2 } else { 1 };
    let mut at = 0;
    let mut addresses = Vec::new();
    for region in &geometry.regions {
        for _ in 0..region.count {
            addresses.push((at / unit) as u32 + mode.scaled(2));
            at += region.bytes;
        }
    }
    addresses
}

/// Reads the locks of all chips that `asking` asks; one answer a chip.
pub(super) async fn read_locks(
    asker: &mut Asker<'_, '_, '_>,
    asking: &Asking,
    findings: &[Finding],
    geometries: &[Option<Geometry>],
) -> Result<Vec<Locks>, JobError> {
    let none = |why| Ok(vec![Locks::NotRead(why); findings.len()]);
    if !matches!(asking.way.family, Family::Amd | Family::Intel) {
        return none("this family does not show them");
    }
    let Some(Some(geometry)) = geometries.first() else { return none("the sectors are not known") };
    if geometry.doubt.is_some() {
        return none("the sectors are not certain");
    }
    if geometries.iter().any(|other| other.as_ref() != Some(geometry)) {
        return none("the chips side by side differ");
    }
    let addresses = lock_addresses(geometry, asking.way.mode);
    let addresses: Vec<_> = addresses.into_iter().map(|chip| asking.at(chip)).collect();
    let Some(words) = asker.codes(asking, &addresses).await? else {
        return none("this family has no command for it");
    };
    let locked = |word: &Word, chip: usize| match asking.chips[chip].get(*word) & 3 {
        3 if asking.way.family == Family::Intel => Lock::Down,
        1 | 3 => Lock::Locked,
        // Bit 1 alone means nothing.
        _ => Lock::Open,
    };
    let of_chip = |chip| Locks::Read(words.iter().map(|word| locked(word, chip)).collect());
    Ok((0..asking.chips.len()).map(of_chip).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chips::Region;

    #[test]
    fn locked_sectors_in_one_line() {
        let of = |locked: &[usize]| {
            let lock = |sector| if locked.contains(&sector) { Lock::Locked } else { Lock::Open };
            Locks::Read((0..8).map(lock).collect()).to_string()
        };
        assert_eq!(of(&[]), "none of 8 sectors locked");
        assert_eq!(of(&[0, 3, 4, 5, 7]), "locked: 0, 3-5, 7 of sectors 0-7");
    }

    #[test]
    fn boot_sectors_have_locks_of_their_own() {
        let regions = vec![Region { count: 2, bytes: 0x2000 }, Region { count: 1, bytes: 0xC000 }];
        let geometry = Geometry::in_order(0x1_0000, regions);
        assert_eq!(lock_addresses(&geometry, BusMode::Word), [2, 0x1002, 0x2002]);
        assert_eq!(lock_addresses(&geometry, BusMode::Byte), [4, 0x2004, 0x4004]);
        assert_eq!(lock_addresses(&geometry, BusMode::ByteOnly), [2, 0x2002, 0x4002]);
    }
}
