//! Words that did not read the same every time.

use super::compare::word;
use crate::bus::{Width, Word, WordAddress};

/// How many unsteady words are kept with their values; all are counted.
pub(crate) const KEPT: usize = 256;

/// How many different values are kept for one word.
pub(crate) const VALUES: usize = 4;

/// A word that gave different values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct UnsteadyWord {
    /// Where it is.
    pub(crate) address: WordAddress,
    /// The different values in the order they were seen, [`VALUES`] at most.
    pub(crate) seen: Vec<Word>,
    /// The data lines that changed.
    pub(crate) bits: Word,
}

/// The unsteady words of a space.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Unsteady {
    /// The first [`KEPT`] of them.
    pub(crate) words: Vec<UnsteadyWord>,
    /// How many there are.
    pub(crate) total: u64,
    /// Every data line that changed somewhere.
    pub(crate) bits: Word,
}

impl Unsteady {
    /// Compares all `readings` of the words from `first` on and keeps what differs; returns how
    /// many words did. Give every block once, with all its readings: a block given twice is
    /// counted twice. Only what all readings cover is compared.
    pub(crate) fn observe(&mut self, width: Width, first: WordAddress, readings: &[&[u8]]) -> u64 {
        let Some((one, others)) = readings.split_first() else { return 0 };
        let size = width.bytes();
        let common = readings.iter().map(|reading| reading.len()).min().unwrap_or(0) / size * size;
        if others.iter().all(|other| other[..common] == one[..common]) {
            return 0;
        }
        let before = self.total;
        for (index, start) in (0..common).step_by(size).enumerate() {
            let value = word(&one[start..start + size]);
            let all = others.iter().map(|other| word(&other[start..start + size]));
            let bits = all.clone().fold(0, |bits, other| bits | (value ^ other));
            if bits == 0 {
                continue;
            }
            let address = WordAddress(first.0.wrapping_add(index as u32));
            let mut seen = vec![value];
            for other in all {
                if seen.len() < VALUES && !seen.contains(&other) {
                    seen.push(other);
                }
            }
            self.add(UnsteadyWord { address, seen, bits });
        }
        self.total - before
    }

    /// Counts one more word, and keeps it while there is room.
    pub(crate) fn add(&mut self, word: UnsteadyWord) {
        self.total += 1;
        self.bits |= word.bits;
        if self.words.len() < KEPT {
            self.words.push(word);
        }
    }
}

/// The data lines whose bits are set, lowest first.
pub(super) fn lines_of(bits: Word) -> impl Iterator<Item = u8> + use<> {
    (0..32).filter(move |line| bits >> line & 1 == 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steady_readings_leave_nothing() {
        let mut unsteady = Unsteady::default();
        let bytes = [1, 2, 3, 4];
        assert_eq!(unsteady.observe(Width::W16, WordAddress(0), &[&bytes, &bytes]), 0);
        assert_eq!(unsteady.observe(Width::W16, WordAddress(0), &[]), 0);
        assert_eq!(unsteady, Unsteady::default());
    }

    #[test]
    fn values_and_lines_are_kept() {
        let mut unsteady = Unsteady::default();
        let readings: [&[u8]; 3] = [&[0, 0, 0x34, 0x12], &[0, 0, 0x35, 0x12], &[0, 0, 0x34, 0x92]];
        assert_eq!(unsteady.observe(Width::W16, WordAddress(0x100), &readings), 1);
        let word = &unsteady.words[0];
        assert_eq!(word.address, WordAddress(0x101));
        assert_eq!(word.seen, [0x1234, 0x1235, 0x9234]);
        assert_eq!(lines_of(word.bits).collect::<Vec<_>>(), [0, 15]);
        assert_eq!(unsteady.bits, 0x8001);
    }

    #[test]
    fn the_list_is_bounded_and_the_count_is_not() {
        let mut unsteady = Unsteady::default();
        let (a, b) = (vec![0; 1000], vec![8; 1000]);
        assert_eq!(unsteady.observe(Width::W8, WordAddress(0), &[&a, &b]), 1000);
        assert_eq!((unsteady.words.len(), unsteady.total), (KEPT, 1000));
        let many: Vec<[u8; 1]> = (0..9).map(|n| [n]).collect();
        let many: Vec<&[u8]> = many.iter().map(<[u8; 1]>::as_slice).collect();
        let mut one = Unsteady::default();
        one.observe(Width::W8, WordAddress(0), &many);
        assert_eq!(one.words[0].seen, [0, 1, 2, 3]);
        assert_eq!(one.words[0].bits, 0x0F);
    }
}
