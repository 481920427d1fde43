//! Can a sector be programmed as it is, or must it be erased first?

use super::Unit;
use crate::bus::{Lane, Width, Word};

/// True if `target` can be programmed over `now` without an erase: every unit that changes is blank.
///
/// Bits could go from 1 to 0 in a unit that is not blank, too. Chips with error correction inside,
/// and those that may program a buffer line only once, do not stand that, so it is never planned.
pub fn only_programs(width: Width, lanes: &[Lane], unit: Unit, now: &[u8], target: &[u8]) -> bool {
    match unit {
        Unit::Page(_) => now == target,
        Unit::Line(words) => {
            let bytes = words.max(1) as usize * width.bytes();
            let mut pieces = now.chunks(bytes).zip(target.chunks(bytes));
            pieces.all(|(now, target)| now == target || now.iter().all(|&byte| byte == 0xFF))
        }
        Unit::Word => {
            let mut words = width.words(now).zip(width.words(target));
            words.all(|(now, target)| {
                let blank = |lane: &Lane| {
                    let mask: Word = lane.mask();
                    (now ^ target) & mask == 0 || now & mask == mask
                };
                now == target || lanes.iter().all(blank)
            })
        }
    }
}

/// Words of `bytes` that are not blank.
pub fn not_blank(width: Width, bytes: &[u8]) -> u32 {
    width.words(bytes).filter(|&word| word != width.ones()).count() as u32
}

/// Words that differ.
pub fn differing(width: Width, one: &[u8], other: &[u8]) -> u32 {
    width.words(one).zip(width.words(other)).filter(|(one, other)| one != other).count() as u32
}
