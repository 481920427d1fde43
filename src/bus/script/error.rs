//! Why a script, or a start of it, is refused.

use super::OPCODES;
use crate::bus::Nanos;
use thiserror::Error;

/// A script that is refused: the byte at fault and what is wrong there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("cycle script, byte {at}: {what}")]
pub struct CheckError {
    /// Offset of the operation (or the operand byte) at fault.
    pub at: u32,
    /// What is wrong.
    pub what: Refusal,
}

/// What is wrong with a script.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum Refusal {
    /// No operation.
    #[error("there is no operation; a script has at least one")]
    Empty,
    /// Longer than a slot.
    #[error("{bytes} bytes long; a slot holds {most}. Split the script")]
    TooLong {
        /// Its length.
        bytes: u64,
        /// What a slot holds.
        most: u32,
    },
    /// No such operation.
    #[error("0x{0:02X} is no opcode; there are {known}", known = OPCODES.len())]
    UnknownOpcode(u8),
    /// The script ends within an operation.
    #[error("the script ends within the operands of this operation")]
    CutOff,
    /// An operand that means nothing.
    #[error("operand '{0}' has a value that means nothing")]
    BadOperand(&'static str),
    /// The first operation does not select a shape.
    #[error("a script begins with 'shape'; no cycle is made without one")]
    FirstNotShape,
    /// A shape slot that is not defined.
    #[error("shape slot {0} is not defined; send SHAPE first")]
    NoSuchShape(u8),
    /// An empty lane mask.
    #[error("the lane mask names no data line of the shape")]
    NoLanes,
    /// A partial mask where it cannot be.
    #[error("a partial lane mask without a rest value before it, or where none is allowed")]
    PartialLanes,
    /// A lane wider than the shape.
    #[error("a lane of {lane} bits is wider than the shape's word of {word}")]
    LaneTooWide {
        /// Bits of the lane.
        lane: u32,
        /// Bits of the word.
        word: u32,
    },
    /// Loops too deep.
    #[error("loops are nested deeper than {0}")]
    TooDeep(u8),
    /// A loop that never runs.
    #[error("a loop of zero times; leave it out")]
    LoopOfNone,
    /// An end without its beginning.
    #[error("this ends a block that is not the one open here")]
    Unbalanced,
    /// A block without its end.
    #[error("this block is never ended")]
    NeverEnded,
    /// `critical` or `atomic` where it cannot be.
    #[error("'critical' and 'atomic' stand neither in themselves nor 'critical' in 'atomic'")]
    Nested,
    /// A critical stretch too long.
    #[error("a stop would wait {ms} ms; the longest allowed is {most} ms")]
    CriticalTooLong {
        /// Its time.
        ms: u32,
        /// The longest allowed.
        most: u64,
    },
    /// An atomic stretch too long.
    #[error("an atomic stretch of up to {us} us; the longest allowed is 20,000 us")]
    AtomicTooLong {
        /// Its worst time.
        us: u64,
    },
    /// Not straight-line after `finally`.
    #[error("after 'finally' stand only writes, settings, delays and lines")]
    NotStraight,
    /// A skip of no operations.
    #[error("a skip of no operation")]
    SkipOfNone,
    /// A skip that leaves its block.
    #[error("a skip passes the end of its block, or into a block that it does not pass whole")]
    SkipLeaves,
    /// A skip that takes payload.
    #[error("a skip passes over {0} payload words more taken than given back; it must be none")]
    SkipTakes(i64),
    /// A skip that emits.
    #[error("a skip passes over an emit, so the number of words would vary")]
    SkipEmits,
    /// A skip that passes a setting.
    #[error("a skip passes over 'shape', 'lanes' or 'rest'")]
    SkipSets,
    /// The cursor leaves the payload.
    #[error("the payload cursor leaves the payload here")]
    PayloadLeft,
    /// A loop that gives back more than it takes.
    #[error("each turn of this loop moves the payload cursor back")]
    LoopGoesBack,
    /// N - 1 does not fit the lane.
    #[error("N - 1 does not fit a lane of {0} bits")]
    CountTooWide(u32),
    /// Too long in time.
    #[error("up to {ms} ms; the longest allowed is {most} ms", ms = .worst.as_millis(), most = .most.as_millis())]
    TooSlow {
        /// Its worst time.
        worst: Nanos,
        /// The longest allowed.
        most: Nanos,
    },
    /// Too many words.
    #[error("emits {words} words; {most} are remembered")]
    TooManyEmitted {
        /// Its words.
        words: u64,
        /// What is remembered.
        most: u32,
    },
}

impl Refusal {
    /// The number that a FAULT carries for it.
    pub const fn number(self) -> u8 {
        match self {
            Self::Empty => 1,
            Self::TooLong { .. } => 2,
            Self::UnknownOpcode(_) => 3,
            Self::CutOff => 4,
            Self::BadOperand(_) => 5,
            Self::FirstNotShape => 6,
            Self::NoSuchShape(_) => 7,
            Self::NoLanes => 8,
            Self::PartialLanes => 9,
            Self::LaneTooWide { .. } => 10,
            Self::TooDeep(_) => 11,
            Self::LoopOfNone => 12,
            Self::Unbalanced => 13,
            Self::NeverEnded => 14,
            Self::Nested => 15,
            Self::CriticalTooLong { .. } => 16,
            Self::AtomicTooLong { .. } => 17,
            Self::NotStraight => 18,
            Self::SkipOfNone => 19,
            Self::SkipLeaves => 20,
            Self::SkipTakes(_) => 21,
            Self::SkipEmits => 22,
            Self::SkipSets => 23,
            Self::PayloadLeft => 24,
            Self::LoopGoesBack => 25,
            Self::CountTooWide(_) => 26,
            Self::TooSlow { .. } => 27,
            Self::TooManyEmitted { .. } => 28,
        }
    }
}

/// Why a checked script does not start; no cycle was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum StartError {
    /// N is zero and the script uses it.
    #[error("N is 0 and the script uses N; it must be at least 1")]
    NoCount,
    /// No data line is meant.
    #[error("the lane mask is 0; it must name at least one data line")]
    NoLanes,
    /// The payload is not exactly what the script takes.
    #[error("{got} payload words; with these start values the script takes exactly {takes}")]
    Payload {
        /// What it takes.
        takes: u64,
        /// What was given.
        got: u64,
    },
    /// With this N the script is refused.
    #[error("with N = {n}: {error}")]
    Refused {
        /// The N.
        n: u32,
        /// Why.
        error: CheckError,
    },
}
