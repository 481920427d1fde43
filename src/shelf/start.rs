//! What a capture is begun with, and how it is cut into blocks.

use super::Label;
use super::text;
use crate::bus::{Width, WordAddress};
use serde::{Deserialize, Serialize};

/// The size of a block: what is stored, checked and read again as one, in bytes.
pub(crate) const BLOCK_BYTES: u32 = 64 * 1024;

/// What a capture is begun with. An unfinished one is gone on with only if all of it is equal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Start {
    /// The module.
    pub(crate) specimen: Label,
    /// SHA-256 of the text of its sheet.
    pub(crate) sheet_sha256: String,
    /// Taken from the simulated bench?
    pub(crate) simulated: bool,
    /// What is read, in the order of the content.
    #[serde(rename = "part")]
    pub(crate) parts: Vec<Part>,
}

/// A range of one space.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Part {
    /// The space's name.
    pub(crate) space: String,
    /// The width of its words, in bits.
    #[serde(with = "text::width")]
    pub(crate) width: Width,
    /// The word address where the space begins.
    #[serde(with = "text::address")]
    pub(crate) base: WordAddress,
    /// The first word read, counted from the base.
    #[serde(with = "text::address")]
    pub(crate) first: WordAddress,
    /// How many words.
    pub(crate) words: u32,
}

/// A piece of one part: [`BLOCK_BYTES`] long, the first and the last of a part possibly shorter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Block {
    /// Its number, counted over all parts.
    pub(crate) index: u32,
    /// The part it belongs to.
    pub(crate) part: usize,
    /// Where it begins in the content, in bytes.
    pub(crate) offset: u64,
    /// Its length in bytes.
    pub(crate) bytes: u32,
    /// Its first word, counted from the base of its space.
    pub(crate) first: WordAddress,
}

impl Part {
    /// The length in bytes.
    pub(crate) fn bytes(&self) -> u64 {
        u64::from(self.words) * self.width.bytes() as u64
    }
}

impl Start {
    /// The length of the whole content in bytes.
    pub(crate) fn total_bytes(&self) -> u64 {
        self.parts.iter().map(Part::bytes).sum()
    }

    /// The blocks in the order of the content.
    pub(crate) fn blocks(&self) -> Vec<Block> {
        cut_blocks(&self.parts)
    }

    /// What is different in `other`, in words for people; empty if nothing is.
    pub(super) fn differences(&self, other: &Self) -> Vec<String> {
        let mut found = Vec::new();
        if self.specimen != other.specimen {
            found.push(format!("it was of {}, not of {}", other.specimen, self.specimen));
        }
        if self.sheet_sha256 != other.sheet_sha256 {
            found.push("it was begun with another text of the module sheet".to_owned());
        }
        if self.simulated != other.simulated {
            let bench = if other.simulated { "the simulated bench" } else { "a real module" };
            found.push(format!("it was taken from {bench}"));
        }
        if self.parts != other.parts {
            let list = other.parts.iter().map(Part::to_string).collect::<Vec<_>>().join(", ");
            found.push(format!("it reads other words ({list})"));
        }
        found
    }
}

/// The blocks of `parts` in the order of the content. Their bounds are whole multiples of
/// [`BLOCK_BYTES`] from the base of each space, wherever the part begins.
pub(crate) fn cut_blocks(parts: &[Part]) -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut offset = 0;
    for (at, part) in parts.iter().enumerate() {
        let size = part.width.bytes() as u64;
        let start = u64::from(part.first.0) * size;
        let end = start + part.bytes();
        let mut begin = start;
        while begin < end {
            let bound = (begin / u64::from(BLOCK_BYTES) + 1) * u64::from(BLOCK_BYTES);
            let bytes = (bound.min(end) - begin) as u32;
            let first = WordAddress((begin / size) as u32);
            let index = blocks.len() as u32;
            blocks.push(Block { index, part: at, offset: offset + begin - start, bytes, first });
            begin += u64::from(bytes);
        }
        offset += part.bytes();
    }
    blocks
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}+0x{:X} of {} bits", self.space, self.first, self.words, self.width.bits())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_never_span_two_parts() {
        let part = |space: &str, width, first, words| Part {
            space: space.to_owned(),
            width,
            base: WordAddress(0),
            first: WordAddress(first),
            words,
        };
        let start = Start {
            specimen: Label::parse("TG-7 #0417").unwrap(),
            sheet_sha256: String::new(),
            simulated: true,
            parts: vec![
                part("store", Width::W32, 0x100, 0x4001),
                part("none", Width::W8, 0, 0),
                part("records", Width::W16, 0, 0x8000),
            ],
        };
        assert_eq!(start.total_bytes(), 0x1_0004 + 0x1_0000);
        let block = |index, part, offset, bytes, first| Block {
            index,
            part,
            offset,
            bytes,
            first: WordAddress(first),
        };
        assert_eq!(
            start.blocks(),
            [
                block(0, 0, 0, 0xFC00, 0x100),
                block(1, 0, 0xFC00, 0x404, 0x4000),
                block(2, 2, 0x1_0004, 0x1_0000, 0),
            ]
        );
    }
}
