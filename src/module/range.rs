//! Ranges as people write them: `0x7E000+0x800`.

use crate::bus::WordAddress;
use thiserror::Error;

/// Why a range cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum RangeError {
    /// There is no plus sign.
    #[error("`{0}` has no `+`; a range is START+LENGTH in words, such as 0x7E000+0x800")]
    NoPlus(String),
    /// One side is not a number.
    #[error("`{0}` is not a number; write decimal or 0x and hexadecimal digits, such as 0x7E000")]
    NotANumber(String),
    /// One side needs more than 32 bits.
    #[error("{0} does not fit 32 bits")]
    TooBig(String),
    /// The length is zero.
    #[error("the length is 0; a range holds at least one word")]
    Empty,
    /// The end needs more than 32 bits.
    #[error("{length} words from {start} on reach past the last 32-bit word address")]
    PastEnd {
        /// The first word.
        start: WordAddress,
        /// Length in words.
        length: u32,
    },
}

/// Reads `START+LENGTH`, both in words, decimal or `0x`; underscores between digits are allowed.
///
/// The start is a word address on the module's address lines, not an offset into a space. The
/// length is at least 1 and the last word is at most `0xFFFF_FFFF`.
pub fn parse_range(text: &str) -> Result<(WordAddress, u32), RangeError> {
    let (start, length) =
        text.split_once('+').ok_or_else(|| RangeError::NoPlus(super::shown(text)))?;
    let (start, length) = (number(start)?, number(length)?);
    if length == 0 {
        return Err(RangeError::Empty);
    }
    let start = WordAddress(start);
    if start.0.checked_add(length - 1).is_none() {
        return Err(RangeError::PastEnd { start, length });
    }
    Ok((start, length))
}

fn number(text: &str) -> Result<u32, RangeError> {
    let text = text.trim();
    let (digits, radix) = match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) => (digits, 16),
        None => (text, 10),
    };
    let tidy = digits.split('_').all(|part| !part.is_empty());
    if !tidy || !digits.chars().all(|c| c == '_' || c.is_digit(radix)) {
        return Err(RangeError::NotANumber(super::shown(text)));
    }
    u32::from_str_radix(&digits.replace('_', ""), radix)
        .map_err(|_| RangeError::TooBig(super::shown(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_notations_and_underscores() {
        assert_eq!(parse_range("0x7E000+0x800"), Ok((WordAddress(0x7_E000), 0x800)));
        assert_eq!(parse_range(" 4_096 + 16 "), Ok((WordAddress(4_096), 16)));
        assert_eq!(parse_range("0X0+0xffff_ffff"), Ok((WordAddress(0), u32::MAX)));
        assert_eq!(parse_range("0xFFFF_FFFF+1"), Ok((WordAddress(u32::MAX), 1)));
    }

    #[test]
    fn every_refusal_says_what_is_wrong() {
        let said = |text| parse_range(text).map_err(|e| e.to_string()).unwrap_err();
        assert!(said("0x100").contains("has no `+`"));
        assert!(said("0x10G+1").contains("`0x10G` is not a number"));
        for text in ["+1", "1+", "0x+1", "_1+1", "1__0+1", "1_+1", "-1+1", "1+1+1", "١+1"] {
            assert!(said(text).contains("is not a number"), "{text}: {}", said(text));
        }
        assert!(said("0x1_0000_0000+1").contains("does not fit 32 bits"));
        assert!(said("16+0").contains("at least one word"));
        assert!(said("0xFFFF_FFFF+2").contains("past the last"));
    }
}
