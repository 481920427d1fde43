//! Looks for what agreement cannot exclude: contents that a fault would give in every pass alike.

use super::unsteady::lines_of;
use super::{Doubt, DoubtKind, mirror};
use crate::bus::{Lane, Width, Word};

/// The finished content of one space.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SpaceView<'a> {
    /// The space's name.
    pub(crate) name: &'a str,
    /// The width of its words.
    pub(crate) width: Width,
    /// Its words, little-endian.
    pub(crate) bytes: &'a [u8],
    /// The chips side by side: reference and data lines.
    pub(crate) lanes: &'a [(String, Lane)],
}

/// Of fewer words than this, lines are alike by chance and nothing is said of single ones.
const TELLING: usize = 64;

/// The doubts about one space, gravest first; none for an empty one.
pub(crate) fn doubts(space: &SpaceView) -> Vec<Doubt> {
    let kinds = kinds(space);
    kinds.into_iter().map(|kind| Doubt { space: space.name.to_owned(), kind }).collect()
}

fn kinds(space: &SpaceView) -> Vec<DoubtKind> {
    let ones = space.width.ones();
    if space.bytes.len() < space.width.bytes() {
        return Vec::new();
    }
    let (and, or) =
        space.width.words(space.bytes).fold((ones, 0), |(and, or), word| (and & word, or | word));
    if and == ones {
        return vec![DoubtKind::AllBlank];
    }
    let varying = or & !and;
    let mut found = Vec::new();
    let mut dull: Word = 0;
    for (chip, lane) in space.lanes {
        let mask = lane.mask() & ones;
        if mask != 0 && varying & mask == 0 {
            dull |= mask;
            let value = (and & mask) >> lane.first;
            found.push(DoubtKind::LaneConstant { chip: chip.clone(), lane: *lane, value });
        }
    }
    let words = space.bytes.len() / space.width.bytes();
    if words < TELLING {
        found.push(DoubtKind::TooFew { words });
        return found;
    }
    if varying != 0 {
        let period = mirror::period(space.width, space.bytes);
        found.extend(period.map(|words| DoubtKind::MirroredAt { words }));
        found.extend(mirror::idle_lines(space, varying, period));
    }
    found.extend(
        lines_of(ones & !varying & !dull)
            .map(|line| DoubtKind::LineConstant { line, level: and >> line & 1 == 1 }),
    );
    found.extend(followers(space, varying));
    found
}

/// Lines that have the level of a lower one in every word, or always the opposite.
fn followers(space: &SpaceView, varying: Word) -> Vec<DoubtKind> {
    let mut same = [varying; 32];
    let mut opposite = [varying; 32];
    // A line is dropped once no lower line is left that it could follow: after some twenty words
    // of ordinary contents nothing is left to look at.
    let mut open: Vec<u8> = lines_of(varying).collect();
    for &line in &open {
        same[usize::from(line)] &= (1 << line) - 1;
        opposite[usize::from(line)] &= (1 << line) - 1;
    }
    let mut last = None;
    for word in space.width.words(space.bytes) {
        if last.replace(word) == Some(word) {
            continue;
        }
        let mut closed = false;
        for &line in &open {
            let at = usize::from(line);
            let like_it = word ^ (word >> line & 1).wrapping_sub(1);
            same[at] &= like_it;
            opposite[at] &= !like_it;
            closed |= same[at] | opposite[at] == 0;
        }
        if closed {
            open.retain(|line| same[usize::from(*line)] | opposite[usize::from(*line)] != 0);
            if open.is_empty() {
                break;
            }
        }
    }
    open.into_iter()
        .map(|line| {
            let at = usize::from(line);
            let other = (same[at] | opposite[at]).trailing_zeros() as u8;
            DoubtKind::LineFollows { line, other, inverted: opposite[at] >> other & 1 == 1 }
        })
        .collect()
}

#[cfg(test)]
#[path = "doubts_tests.rs"]
mod tests;
