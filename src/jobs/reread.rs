//! Blocks whose two passes disagreed: read again word by word until two passes under opposite
//! conditions agree, or the passes are used up.

use super::blocks::{Conditions, Reach};
use super::reading::read_blocks;
use super::{Desk, JobError};
use crate::bus::Width;
use crate::shelf::Block;

/// What reading a block again has given.
#[derive(Debug)]
pub(super) struct Settled {
    /// The bytes to keep.
    pub bytes: Vec<u8>,
    /// Two consecutive passes under opposite conditions gave them.
    pub agreed: bool,
    /// Every reading as words, pass one first.
    pub readings: Vec<Vec<u8>>,
    /// The last pass made.
    pub passes: u32,
}

/// Reads `block` again, in passes 3 to `passes`; `first` is what pass one read. Words that are
/// `live` at their byte offset stay as first read.
pub(super) async fn reread(
    desk: &Desk<'_>,
    reach: impl Fn(Conditions) -> Reach,
    (width, live): (Width, &impl Fn(usize) -> bool),
    block: &Block,
    first: Vec<u8>,
    passes: u32,
) -> Result<Settled, JobError> {
    let mut readings = vec![first];
    let mut made = 2;
    for number in 3..=passes {
        let mut again = Vec::new();
        let reach = reach(Conditions::of_pass(number));
        read_blocks(desk, &reach, std::slice::from_ref(block), |_, bytes| {
            again = bytes;
            Ok(())
        })
        .await?;
        made = number;
        let size = width.bytes();
        let words = again.chunks_exact_mut(size).zip(readings[0].chunks_exact(size)).enumerate();
        words.filter(|(n, _)| live(n * size)).for_each(|(_, (new, old))| new.copy_from_slice(old));
        let agreed = readings.last() == Some(&again);
        readings.push(again);
        if agreed {
            let bytes = readings[readings.len() - 1].clone();
            return Ok(Settled { bytes, agreed: true, readings, passes: made });
        }
    }
    let bytes = most_seen(width, &readings);
    Ok(Settled { bytes, agreed: false, readings, passes: made })
}

/// Word by word the value that most readings gave; of equals the earliest.
fn most_seen(width: Width, readings: &[Vec<u8>]) -> Vec<u8> {
    let Some(first) = readings.first() else { return Vec::new() };
    let size = width.bytes();
    let mut out = Vec::with_capacity(first.len());
    for at in (0..first.len()).step_by(size) {
        let values: Vec<_> = readings.iter().map(|reading| &reading[at..at + size]).collect();
        let votes = |value: &[u8]| values.iter().filter(|other| **other == value).count();
        let mut best = values[0];
        for value in &values[1..] {
            if votes(value) > votes(best) {
                best = value;
            }
        }
        out.extend_from_slice(best);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_value_seen_most_is_kept_and_of_equals_the_first() {
        let readings = [vec![1, 0, 7, 0], vec![2, 0, 8, 0], vec![2, 0, 9, 0]];
        assert_eq!(most_seen(Width::W16, &readings), [2, 0, 7, 0]);
    }
}
