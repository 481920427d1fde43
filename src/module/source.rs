//! The text of a sheet: from offsets to lines, from TOML to tables that know where they stand.

use super::{SheetError, SheetFault};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use toml::Spanned;
use toml::de::DeTable;

/// No sheet comes near this; a file that does is something else.
const MOST_BYTES: usize = 64 * 1024;

/// The file name and text of one sheet.
#[derive(Clone, Copy, Debug)]
pub(super) struct Source<'a> {
    pub file: &'a str,
    pub text: &'a str,
}

impl<'a> Source<'a> {
    /// The text as TOML, every key and value with its place.
    pub fn table(self) -> Result<Spanned<DeTable<'a>>, SheetError> {
        if self.text.len() > MOST_BYTES {
            let fault = SheetFault::TooLong { most: MOST_BYTES, got: self.text.len() };
            return Err(self.error(1, "(file)", fault));
        }
        DeTable::parse(self.text).map_err(|error| {
            let line = self.line_of(error.span().map_or(0, |span| span.start));
            let words = self.text.lines().nth(line - 1).unwrap_or_default();
            let key = words.split('=').next().unwrap_or_default().trim();
            let key = key.trim_matches(|c| "[]\"'".contains(c));
            let key = if key.is_empty() { "(file)".to_owned() } else { shown(key) };
            let fault = match error.message() {
                "duplicate key" => SheetFault::Twice,
                other => SheetFault::Toml(other.to_owned()),
            };
            self.error(line, &key, fault)
        })
    }

    /// The line of a byte offset, from 1.
    pub fn line_of(self, offset: usize) -> usize {
        let before = self.text.as_bytes().iter().take(offset);
        before.filter(|byte| **byte == b'\n').count() + 1
    }

    /// An error at a place in this sheet.
    pub fn error(self, line: usize, key: &str, fault: SheetFault) -> SheetError {
        let (file, key) = (self.file.to_owned(), key.to_owned());
        SheetError { file, line, key, fault: Box::new(fault) }
    }
}

/// Foreign text made fit for a message: short and without control characters.
pub(super) fn shown(text: &str) -> String {
    const MOST: usize = 64;
    let mut short: String = text.chars().take(MOST).flat_map(char::escape_debug).collect();
    if text.chars().nth(MOST).is_some() {
        short.push_str("...");
    }
    short
}

/// SHA-256 of `text` as 64 hexadecimal digits.
pub(super) fn sha256_hex(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().fold(String::with_capacity(64), |mut hex, byte| {
        // Writing to a String cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The "abc" example of FIPS 180-2, appendix B.1 (from memory).
    #[test]
    fn sha256_of_abc() {
        let hex = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_hex("abc"), hex);
    }

    #[test]
    fn foreign_text_cannot_steer_a_terminal() {
        assert_eq!(shown("a\u{1b}[2J"), "a\\u{1b}[2J");
        assert_eq!(shown(&"x".repeat(65)).len(), 67);
    }

    #[test]
    fn broken_toml_is_named_by_line_and_key() {
        let text = "format = 1\nname = a\n";
        let error = Source { file: "x.toml", text }.table().unwrap_err();
        assert_eq!(
            error.to_string(),
            "x.toml:2: name: this is not TOML: string values must be quoted, expected literal \
             string; strings need quotes, a table stands in [brackets], a list in [[two]]"
        );
    }
}
