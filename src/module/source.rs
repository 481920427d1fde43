//! The text of a sheet: from offsets to lines, from TOML to tables that know where they stand,
//! and the faults found on the way.

use super::{SheetError, SheetFault};
use sha2::{Digest, Sha256};
use std::cell::{Cell, RefCell};
use std::fmt::Write;
use toml::Spanned;
use toml::de::DeTable;

/// No sheet comes near this; a file that does is something else.
const MOST_BYTES: usize = 1 << 20;
/// Faults that are kept; the others are counted.
const MOST_FAULTS: usize = 100;

/// The file name and text of one sheet, and what is wrong with it so far.
#[derive(Debug)]
pub(super) struct Source<'a> {
    pub file: &'a str,
    pub text: &'a str,
    newlines: Vec<usize>,
    faults: RefCell<Vec<SheetError>>,
    count: Cell<usize>,
}

impl<'a> Source<'a> {
    pub fn new(file: &'a str, text: &'a str) -> Self {
        let bytes = text.bytes().enumerate().take(MOST_BYTES);
        let newlines = bytes.filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at).collect();
        Self { file, text, newlines, faults: RefCell::default(), count: Cell::new(0) }
    }

    /// The text as TOML, every key and value with its place; `None` if it is not TOML.
    pub fn table(&self) -> Option<Spanned<DeTable<'a>>> {
        if self.text.len() > MOST_BYTES {
            let fault = SheetFault::TooLong { most: MOST_BYTES, got: self.text.len() };
            self.tell(1, "(file)", fault);
            return None;
        }
        let (table, mut errors) = DeTable::parse_recoverable(self.text);
        let line = |error: &toml::de::Error| self.line_of(error.span().map_or(0, |s| s.start));
        errors.sort_by_key(|error| error.span().map_or(0, |span| span.start));
        // What follows in the same line follows from the first fault.
        errors.dedup_by_key(|error| line(error));
        for error in &errors {
            self.not_toml(line(error), error.message());
        }
        errors.is_empty().then_some(table)
    }

    fn not_toml(&self, line: usize, message: &str) {
        let words = self.text.lines().nth(line - 1).unwrap_or_default();
        let key = words.split('=').next().unwrap_or_default().trim();
        let key = key.trim_matches(|c| "[]\"'".contains(c));
        let key = if key.is_empty() { "(file)".to_owned() } else { shown(key) };
        let fault = match message {
            "duplicate key" => SheetFault::Twice,
            other => SheetFault::Toml(other.to_owned()),
        };
        self.tell(line, &key, fault);
    }

    /// The line of a byte offset, from 1.
    pub fn line_of(&self, offset: usize) -> usize {
        self.newlines.partition_point(|newline| *newline < offset) + 1
    }

    /// Keeps a fault at a place in this sheet.
    pub fn tell(&self, line: usize, key: &str, fault: SheetFault) {
        self.count.set(self.count.get() + 1);
        let mut faults = self.faults.borrow_mut();
        if faults.len() < MOST_FAULTS {
            let (file, key) = (self.file.to_owned(), key.to_owned());
            faults.push(SheetError { file, line, key, fault: Box::new(fault) });
        }
    }

    /// How many faults were found so far.
    pub fn count(&self) -> usize {
        self.count.get()
    }

    /// The faults in the order in which they were found, and how many more there were.
    pub fn into_faults(self) -> (Vec<SheetError>, usize) {
        let faults = self.faults.into_inner();
        let more = self.count.get() - faults.len();
        (faults, more)
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
    fn lines_are_counted_from_one() {
        let source = Source::new("x", "a\nb\n\nc");
        let lines: Vec<_> = (0..7).map(|at| source.line_of(at)).collect();
        assert_eq!(lines, [1, 1, 2, 2, 3, 4, 4]);
    }

    #[test]
    fn every_broken_line_is_named_once() {
        let source = Source::new("x.toml", "format = 1\nname = a\ntitle = \"t\"\nrail = = 3\n");
        assert!(source.table().is_none());
        let (faults, more) = source.into_faults();
        assert_eq!(more, 0);
        assert_eq!(
            faults[0].to_string(),
            "x.toml:2: name: this is not TOML: string values must be quoted, expected literal \
             string; strings need quotes, a table stands in [brackets], a list in [[two]]"
        );
        assert_eq!(faults.iter().map(|fault| fault.line).collect::<Vec<_>>(), [2, 4]);
    }

    #[test]
    fn faults_are_bounded() {
        let source = Source::new("x", "");
        (0..250).for_each(|_| source.tell(1, "k", SheetFault::Twice));
        let (faults, more) = source.into_faults();
        assert_eq!((faults.len(), more), (100, 150));
    }
}
