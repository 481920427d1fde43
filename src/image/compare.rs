//! Two copies side by side.

use crate::bus::{Width, Word, WordAddress};

/// How many differing words a [`Comparison`] lists; all are counted.
pub(crate) const LISTED: usize = 16;

/// Bytes compared at once before single words are looked at; a multiple of every width.
const STRIDE: usize = 4096;

/// A word that is not the same in both copies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Difference {
    /// Where, counted from the start of the copies.
    pub(crate) address: WordAddress,
    /// The word of the first copy.
    pub(crate) a: Word,
    /// The word of the second copy.
    pub(crate) b: Word,
}

/// What two copies have in common, and what not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Comparison {
    /// Words that both copies have; a partial last word counts, its missing bytes as zero.
    pub(crate) words: u64,
    /// How many of them differ.
    pub(crate) differing: u64,
    /// The first [`LISTED`] of those.
    pub(crate) first: Vec<Difference>,
    /// Every data line that differs in some word.
    pub(crate) bits: Word,
    /// Bytes that only the first copy has.
    pub(crate) only_a: u64,
    /// Bytes that only the second copy has.
    pub(crate) only_b: u64,
}

impl Comparison {
    /// True if the copies are the same, length included.
    pub(crate) fn equal(&self) -> bool {
        self.differing == 0 && self.only_a == 0 && self.only_b == 0
    }
}

/// Compares two copies of words of `width`.
pub(crate) fn compare(width: Width, a: &[u8], b: &[u8]) -> Comparison {
    let common = a.len().min(b.len());
    let mut found = Comparison {
        words: common.div_ceil(width.bytes()) as u64,
        differing: 0,
        first: Vec::new(),
        bits: 0,
        only_a: (a.len() - common) as u64,
        only_b: (b.len() - common) as u64,
    };
    let strides = a[..common].chunks(STRIDE).zip(b[..common].chunks(STRIDE));
    for (stride, (left, right)) in strides.enumerate().filter(|(_, (left, right))| left != right) {
        let base = stride * STRIDE / width.bytes();
        let pairs = left.chunks(width.bytes()).zip(right.chunks(width.bytes()));
        for (index, (left, right)) in pairs.enumerate() {
            let (a, b) = (word(left), word(right));
            if a == b {
                continue;
            }
            found.differing += 1;
            found.bits |= a ^ b;
            if found.first.len() < LISTED {
                let address = WordAddress((base + index) as u32);
                found.first.push(Difference { address, a, b });
            }
        }
    }
    found
}

/// Up to four bytes as a word, least significant first.
pub(super) fn word(bytes: &[u8]) -> Word {
    bytes.iter().rev().fold(0, |word, byte| word << 8 | Word::from(*byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_copies_are_equal() {
        let bytes = vec![0x5A; 3 * STRIDE];
        let found = compare(Width::W32, &bytes, &bytes);
        assert!(found.equal());
        assert_eq!((found.words, found.bits), (3 * STRIDE as u64 / 4, 0));
    }

    #[test]
    fn every_difference_counts_and_the_first_are_listed() {
        let a = vec![0; 2 * STRIDE];
        let mut b = a.clone();
        b[STRIDE + 6] = 0x10;
        b[STRIDE + 9] = 0x81;
        let found = compare(Width::W16, &a, &b);
        let at = |n: usize| WordAddress((STRIDE / 2 + n) as u32);
        assert_eq!(found.differing, 2);
        assert_eq!(found.bits, 0x8110);
        assert_eq!(
            found.first,
            [
                Difference { address: at(3), a: 0, b: 0x10 },
                Difference { address: at(4), a: 0, b: 0x8100 },
            ]
        );
        let all = compare(Width::W8, &a, &vec![1; 2 * STRIDE]);
        assert_eq!((all.differing, all.first.len()), (2 * STRIDE as u64, LISTED));
    }

    #[test]
    fn a_longer_copy_is_not_equal() {
        let found = compare(Width::W32, &[1, 2, 3, 4, 5], &[1, 2, 3, 4, 5, 6, 7]);
        assert!(!found.equal());
        assert_eq!((found.words, found.differing, found.only_b), (2, 0, 2));
    }
}
