//! Digests: a checksum over words, with what all of them have in common.

use super::{Width, Word};
use crc::{CRC_32_ISO_HDLC, Crc, Table};

/// CRC-32/ISO-HDLC with sixteen tables: the checksum of frames, blocks and records.
static SHARED: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISO_HDLC);

/// What a row of words amounts to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Digest {
    /// CRC-32/ISO-HDLC over the bytes of each word, least significant first, in cycle order.
    pub crc: u32,
    /// AND of all words: all ones means blank.
    pub and: Word,
    /// OR of all words.
    pub or: Word,
}

/// Takes words in the order their cycles are made and gives their [`Digest`].
pub struct Digester {
    width: Width,
    crc: crc::Digest<'static, u32, Table<16>>,
    and: Word,
    or: Word,
}

impl Digester {
    /// A digest of no words yet, of words of `width`.
    pub fn new(width: Width) -> Self {
        Self { width, crc: SHARED.digest(), and: width.ones(), or: 0 }
    }

    /// Takes the next word.
    pub fn push(&mut self, word: Word) {
        self.crc.update(&word.to_le_bytes()[..self.width.bytes()]);
        self.and &= word;
        self.or |= word;
    }

    /// The digest of everything pushed.
    pub fn finish(self) -> Digest {
        Digest { crc: self.crc.finalize(), and: self.and, or: self.or }
    }
}

impl Digest {
    /// The digest of `bytes` (little-endian words of `width`), last word first if `down`.
    pub fn of(width: Width, bytes: &[u8], down: bool) -> Self {
        let mut digester = Digester::new(width);
        if down {
            width.words(bytes).rev().for_each(|word| digester.push(word));
        } else {
            width.words(bytes).for_each(|word| digester.push(word));
        }
        digester.finish()
    }
}

/// CRC-32/ISO-HDLC of `bytes`.
pub(crate) fn crc32(bytes: &[u8]) -> u32 {
    SHARED.checksum(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of the CRC catalogue (reveng): CRC-32/ISO-HDLC of "123456789".
    #[test]
    fn crc_check_value() {
        assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn words_are_taken_least_significant_byte_first_in_cycle_order() {
        assert_eq!(Digest::of(Width::W32, b"12345678", false).crc, crc32(b"12345678"));
        assert_eq!(Digest::of(Width::W16, b"1234", true).crc, crc32(b"3412"));
        let d = Digest::of(Width::W8, &[0xF0, 0x3C], false);
        assert_eq!((d.and, d.or), (0x30, 0xFC));
    }
}
