//! What agreement cannot exclude, in words.

use super::counted;
use crate::bus::{Lane, Word};
use std::fmt;

/// A doubt about the copy of one space.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Doubt {
    /// The space's name.
    pub(crate) space: String,
    /// What is doubted.
    pub(crate) kind: DoubtKind,
}

/// What two equal passes do not rule out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum DoubtKind {
    /// The contents repeat after this many words, a power of two.
    MirroredAt {
        /// The smallest such period.
        words: u64,
    },
    /// An address line makes no difference.
    AddressIdle {
        /// The address line, counted in words from the start of the copy.
        line: u8,
        /// The chip whose lane does not follow it; `None` for the whole word.
        chip: Option<String>,
    },
    /// A data line had one level in every word.
    LineConstant {
        /// The data line.
        line: u8,
        /// High?
        level: bool,
    },
    /// A data line had the level of another one, or the opposite, in every word.
    LineFollows {
        /// The data line.
        line: u8,
        /// The lower one it follows.
        other: u8,
        /// Always the opposite level?
        inverted: bool,
    },
    /// All lines of a chip had the same levels in every word.
    LaneConstant {
        /// The chip's reference.
        chip: String,
        /// Its data lines.
        lane: Lane,
        /// What it gave, its lowest line as bit 0.
        value: Word,
    },
    /// Too few words to tell a fault of a line from chance.
    TooFew {
        /// How many.
        words: usize,
    },
    /// Every word was all ones.
    AllBlank,
}

impl DoubtKind {
    /// The name that records and JSON use.
    pub(crate) const fn code(&self) -> &'static str {
        match self {
            Self::MirroredAt { .. } => "mirrored",
            Self::AddressIdle { .. } => "address-idle",
            Self::LineConstant { .. } => "line-constant",
            Self::LineFollows { .. } => "line-follows",
            Self::LaneConstant { .. } => "lane-constant",
            Self::TooFew { .. } => "too-few",
            Self::AllBlank => "all-blank",
        }
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.space, self.kind)
    }
}

impl fmt::Display for DoubtKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MirroredAt { words } => {
                let line = words.trailing_zeros();
                write!(
                    f,
                    "the contents repeat every 0x{words:X} words: address lines from A{line} up \
                     made no difference; they may be open, or the memory smaller than the sheet says"
                )
            }
            Self::AddressIdle { line, chip: None } => write!(
                f,
                "A{line} made no difference in any word: it may be open or held, or the contents \
                 are so"
            ),
            Self::AddressIdle { line, chip: Some(chip) } => write!(
                f,
                "A{line} made no difference to {chip} in any word: it may be open at that chip, or \
                 the contents are so"
            ),
            Self::LineConstant { line, level } => {
                let level = if *level { "high" } else { "low" };
                write!(
                    f,
                    "D{line} was {level} in every word: it may be open or held {level}, or the \
                     contents are so"
                )
            }
            Self::LineFollows { line, other, inverted } => {
                let what = if *inverted { "the opposite of" } else { "the same as" };
                write!(
                    f,
                    "D{line} was {what} D{other} in every word: the two may be shorted, or the \
                     contents are so"
                )
            }
            Self::LaneConstant { chip, lane, value } => {
                let digits = usize::from(lane.bits).div_ceil(4);
                write!(
                    f,
                    "{chip} ({lane}) gave 0x{value:0digits$X} in every word: the chip may be \
                     missing, not selected or blank"
                )
            }
            Self::TooFew { words } => {
                let are = if *words == 1 { "is" } else { "are" };
                write!(
                    f,
                    "{} {are} too few to tell whether lines are open, held or shorted; a capture \
                     of the whole space tells more",
                    counted(*words as u64, "word")
                )
            }
            Self::AllBlank => f.write_str(
                "every word was all ones: blank, or nothing answered (open select, chip missing)",
            ),
        }
    }
}
