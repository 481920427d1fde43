//! Contents that repeat, and address lines that make no difference.

use super::DoubtKind;
use super::compare::word;
use super::doubts::SpaceView;
use crate::bus::{Lane, Width, Word};

/// The smallest power of two, in words, after which `bytes` repeat from start to end.
///
/// What repeats must be at least half a period long and not one word over and over, or an
/// ordinary blank end would pass for a mirror.
pub(super) fn period(width: Width, bytes: &[u8]) -> Option<u64> {
    let size = width.bytes();
    let words = bytes.len() / size;
    let bytes = &bytes[..words * size];
    let mut period = words.checked_sub(1)?.checked_ilog2().map(|log| 1_usize << log)?;
    loop {
        let seen_twice = words - period;
        let again = &bytes[period * size..];
        if seen_twice * 2 >= period && again == &bytes[..again.len()] && !constant(size, again) {
            break;
        }
        if period <= words / 2 {
            return None;
        }
        period /= 2;
    }
    // Half of it can only be a period if the first period is made of two equal halves.
    while period > 1 && bytes[..period / 2 * size] == bytes[period / 2 * size..period * size] {
        period /= 2;
    }
    Some(period as u64)
}

/// True if every unit of `size` bytes is the same.
fn constant(size: usize, bytes: &[u8]) -> bool {
    bytes.len() <= size || bytes[size..] == bytes[..bytes.len() - size]
}

/// Address lines below `period` (all that lie within the copy if `None`) that make no difference
/// to any word, or to one chip whose lane does change (`varying` lines).
pub(super) fn idle_lines(space: &SpaceView, varying: Word, period: Option<u64>) -> Vec<DoubtKind> {
    let size = space.width.bytes();
    let words = space.bytes.len() / size;
    let chips: Vec<&(String, Lane)> =
        space.lanes.iter().filter(|(_, lane)| lane.mask() & varying != 0).collect();
    let mut found = Vec::new();
    let lines = words.checked_ilog2().unwrap_or(0);
    // A line is only judged where the copy holds both of its levels for every word.
    for line in (0..lines).filter(|line| words.is_multiple_of(2 << line)) {
        if period.is_some_and(|period| 1 << line >= period) {
            break;
        }
        let half = size << line;
        let mut moved: Word = 0;
        'copy: for pair in space.bytes[..words * size].chunks_exact(2 * half) {
            let (low, high) = pair.split_at(half);
            if low == high {
                continue;
            }
            for (low, high) in low.chunks_exact(size).zip(high.chunks_exact(size)) {
                moved |= word(low) ^ word(high);
                let all_moved = chips.iter().all(|(_, lane)| lane.mask() & moved != 0);
                if moved != 0 && all_moved {
                    break 'copy;
                }
            }
        }
        let line = line as u8;
        if moved == 0 {
            found.push(DoubtKind::AddressIdle { line, chip: None });
        } else {
            let idle = chips.iter().filter(|(_, lane)| lane.mask() & moved == 0);
            found.extend(
                idle.map(|(chip, _)| DoubtKind::AddressIdle { line, chip: Some(chip.clone()) }),
            );
        }
    }
    found
}
