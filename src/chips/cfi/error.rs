//! Why a query table is not one, or not one to use.

use thiserror::Error;

/// A query table that cannot be read, with the place in it.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CfiError {
    /// No table: the chip did not answer the query.
    #[error(
        "offset 0x10: expected 51 52 59 ('QRY'), got {}; the chip may be older than query tables: go by its ids",
        hex(.got)
    )]
    NoQuery {
        /// The first bytes, as far as they were read.
        got: Vec<u8>,
    },
    /// The bytes end before a field.
    #[error("offset 0x{offset:X}: expected {what}, got no more bytes; read the table further")]
    Short {
        /// The offset of the first missing byte.
        offset: u16,
        /// The field.
        what: &'static str,
    },
    /// A word whose upper byte is not zero, in a part with 16 data lines.
    #[error(
        "offset 0x{offset:X}: expected {what} with 00 on the upper data lines, got {got:04X}; the chip may have left query mode"
    )]
    UpperByte {
        /// The offset of the word.
        offset: u16,
        /// The field.
        what: &'static str,
        /// The word.
        got: u16,
    },
    /// A byte that does not come twice, in a part that repeats every byte.
    #[error("offset 0x{offset:X}: expected {what} twice, got {first:02X} and {second:02X}")]
    NotTwice {
        /// The offset of the byte.
        offset: u16,
        /// The field.
        what: &'static str,
        /// The byte at the even address.
        first: u16,
        /// The byte at the odd address.
        second: u16,
    },
    /// A field whose value means nothing.
    #[error("offset 0x{offset:X}: {what}: expected {expected}, got {got:02X}")]
    Value {
        /// The offset of the field.
        offset: u16,
        /// The field.
        what: &'static str,
        /// What may stand there.
        expected: &'static str,
        /// What stands there.
        got: u32,
    },
}

impl CfiError {
    /// The offset the error is about.
    pub const fn offset(&self) -> u16 {
        match self {
            Self::NoQuery { .. } => 0x10,
            Self::Short { offset, .. }
            | Self::UpperByte { offset, .. }
            | Self::NotTwice { offset, .. }
            | Self::Value { offset, .. } => *offset,
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        return "nothing".to_owned();
    }
    bytes.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
}
