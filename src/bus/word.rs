//! Words, their width, and the numbers that must not be mixed up.

use std::fmt;

/// What one bus cycle moves; bits above the width of its space are zero.
pub type Word = u32;

/// The position of a word in the module's address lines, counted in words.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WordAddress(pub u32);

impl WordAddress {
    /// The address so many words on; past the last one it begins at 0 again.
    pub const fn plus(self, words: u32) -> Self {
        Self(self.0.wrapping_add(words))
    }
}

impl fmt::Display for WordAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "0x{:X}", self.0)
    }
}

/// A position in a file or a copy, counted in bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ByteAddress(pub u64);

impl fmt::Display for ByteAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte 0x{:X}", self.0)
    }
}

/// A voltage in millivolts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Millivolts(pub u16);

impl fmt::Display for Millivolts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mV", self.0)
    }
}

/// The width of a word on the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Width {
    /// 8 bits, one byte a word.
    W8,
    /// 16 bits, two bytes a word.
    W16,
    /// 32 bits, four bytes a word.
    W32,
}

impl Width {
    /// The width of `bits` data lines; `None` unless it is 8, 16 or 32.
    pub const fn from_bits(bits: u32) -> Option<Self> {
        match bits {
            8 => Some(Self::W8),
            16 => Some(Self::W16),
            32 => Some(Self::W32),
            _ => None,
        }
    }

    /// Data lines of one word.
    pub const fn bits(self) -> u32 {
        match self {
            Self::W8 => 8,
            Self::W16 => 16,
            Self::W32 => 32,
        }
    }

    /// Bytes of one word.
    pub const fn bytes(self) -> usize {
        (self.bits() / 8) as usize
    }

    /// The word with every data line high.
    pub const fn ones(self) -> Word {
        u32::MAX >> (32 - self.bits())
    }

    /// Appends `word` to `out`, least significant byte first.
    pub fn put(self, word: Word, out: &mut Vec<u8>) {
        out.extend_from_slice(&word.to_le_bytes()[..self.bytes()]);
    }

    /// The words of `bytes`, least significant byte first; a partial last word is left out.
    pub fn words(self, bytes: &[u8]) -> impl DoubleEndedIterator<Item = Word> + '_ {
        bytes.chunks_exact(self.bytes()).map(|chunk| {
            let mut word = [0; 4];
            word[..chunk.len()].copy_from_slice(chunk);
            u32::from_le_bytes(word)
        })
    }
}

/// The data lines that one chip occupies: `first` and the `bits` above it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Lane {
    /// The lowest data line.
    pub first: u8,
    /// How many lines.
    pub bits: u8,
}

impl Lane {
    /// The lane's bits in a word.
    pub const fn mask(self) -> Word {
        ((u32::MAX as u64 >> (32 - self.bits as u64)) << self.first) as u32
    }

    /// The highest data line.
    pub const fn last(self) -> u8 {
        self.first + self.bits - 1
    }
}

impl fmt::Display for Lane {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "D{}-D{}", self.first, self.last())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_little_endian_and_come_back() {
        let mut bytes = Vec::new();
        Width::W32.put(0xA1B2_C3D4, &mut bytes);
        Width::W16.put(0x0102, &mut bytes);
        assert_eq!(bytes, [0xD4, 0xC3, 0xB2, 0xA1, 0x02, 0x01]);
        assert_eq!(Width::W16.words(&bytes).collect::<Vec<_>>(), [0xC3D4, 0xA1B2, 0x0102]);
    }

    #[test]
    fn lane_masks() {
        assert_eq!(Lane { first: 16, bits: 16 }.mask(), 0xFFFF_0000);
        assert_eq!(Lane { first: 0, bits: 32 }.mask(), u32::MAX);
        assert_eq!(Lane { first: 8, bits: 8 }.to_string(), "D8-D15");
    }
}
