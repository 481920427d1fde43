//! What can be wrong with a chip file, said so that its writer can put it right.

use thiserror::Error;

/// A chip file that cannot be used, with the place in it.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{file}:{line}: {key}: {fault}; {}", fault.remedy())]
pub struct ChipFileError {
    /// The file as the caller named it.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The key.
    pub key: String,
    /// What is wrong.
    pub fault: Box<ChipFault>,
}

/// What is wrong with a key of a chip file.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ChipFault {
    /// Not TOML, or a key or kind of value that does not belong there.
    #[error("{0}")]
    Toml(String),
    /// More text than a chip file ever has.
    #[error("expected at most {most} bytes of text, got {got}")]
    TooLong {
        /// The limit in bytes.
        most: usize,
        /// The length in bytes.
        got: usize,
    },
    /// A value outside its limits.
    #[error("expected {expected}, got {got}")]
    Value {
        /// What may stand here.
        expected: &'static str,
        /// What stands here.
        got: String,
    },
    /// Sectors that do not fill the chip.
    #[error("expected sectors that sum up to `size`, {size} bytes, got {sum} bytes")]
    Sum {
        /// Bytes of the chip.
        size: u64,
        /// Bytes of its sectors.
        sum: u64,
    },
    /// A name twice in one file.
    #[error("`{name}` stands already in line {first}")]
    Twice {
        /// The name.
        name: String,
        /// The line of the first.
        first: usize,
    },
}

impl ChipFault {
    /// What the writer of the file should do.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Toml(_) => {
                "every chip is a [[chip]] with name, maker, device, bus, size and source"
            }
            Self::TooLong { .. } => "check that this file is a chip file, or split it",
            Self::Value { .. } => "correct the value",
            Self::Sum { .. } => "correct `size` or `sectors`",
            Self::Twice { .. } => "rename or remove one of the two",
        }
    }
}
