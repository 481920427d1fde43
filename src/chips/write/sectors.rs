//! Sectors of chips as words of the bus.

use super::WhyNot;
use crate::chips::{BusMode, Geometry, Way, Wiring};

/// The sectors of a geometry in words of the bus, lowest first: the first word, counted from the
/// base of the space, and how many.
pub fn sectors(geometry: &Geometry, way: Way, chips: &[Wiring]) -> Result<Vec<(u32, u32)>, WhyNot> {
    if let Some(doubt) = &geometry.doubt {
        return Err(WhyNot::Doubt(doubt.clone()));
    }
    let Some(first) = chips.first() else {
        return Err(WhyNot::NoChips { chips: 0, findings: 0 });
    };
    let unlike = chips.iter().position(|chip| !chip.same_address_lines(first));
    if let Some(chip) = unlike {
        return Err(WhyNot::ChipsDiffer { chip, what: "the order of their address lines" });
    }
    let unit = if way.mode == BusMode::Word { 2 } else { 1 };
    let mut all = Vec::new();
    let mut at: u64 = 0;
    for region in &geometry.regions {
        let wrong = WhyNot::SectorSize(region.bytes);
        let words = region.bytes / unit;
        let size = u32::try_from(words).ok().filter(|size| size.is_power_of_two());
        let Some(size) =
            size.filter(|_| region.bytes.is_multiple_of(unit) && at.is_multiple_of(words))
        else {
            return Err(wrong);
        };
        if !unbroken(first, size) {
            return Err(WhyNot::SectorScrambled);
        }
        for _ in 0..region.count {
            let chip = u32::try_from(at).map_err(|_| wrong.clone())?;
            all.push((first.address(chip), size));
            at += words;
        }
    }
    all.sort_unstable();
    Ok(all)
}

/// True if every aligned range of `words` chip addresses is one of the module: the lowest address
/// lines are at most scrambled among themselves. `words` is a power of two.
pub(super) fn unbroken(wiring: &Wiring, words: u32) -> bool {
    let lines = words.trailing_zeros();
    (0..lines).all(|line| wiring.address(1 << line) < words)
}
