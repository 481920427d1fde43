//! The text of a chip file, and errors with their place in it.

use super::{ChipFault, ChipFileError};
use crate::chips::shown::shown;
use toml::Spanned;

/// A file and its text.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub file: &'a str,
    pub text: &'a str,
}

impl Source<'_> {
    /// The line of a byte offset, from 1.
    pub fn line(self, at: usize) -> usize {
        self.text.bytes().take(at).filter(|byte| *byte == b'\n').count() + 1
    }

    /// The key or heading of the line that a byte offset is in.
    pub fn key_at(self, at: usize) -> String {
        let line = self.text.lines().nth(self.line(at) - 1).unwrap_or_default();
        let key = line.split('=').next().unwrap_or_default();
        let key = key.trim().trim_matches(|c| "[]\"'".contains(c));
        if key.is_empty() { "(file)".to_owned() } else { shown(key) }
    }

    /// An error at a byte offset.
    pub fn error(self, at: usize, key: &str, fault: ChipFault) -> ChipFileError {
        let fault = Box::new(fault);
        ChipFileError {
            file: self.file.to_owned(),
            line: self.line(at),
            key: key.to_owned(),
            fault,
        }
    }

    /// An error about a value.
    pub fn wrong<T>(
        self,
        value: &Spanned<T>,
        key: &str,
        expected: &'static str,
        got: &str,
    ) -> ChipFileError {
        let fault = ChipFault::Value { expected, got: shown(got) };
        self.error(value.span().start, key, fault)
    }

    /// Text that can be shown as it is.
    pub fn words(
        self,
        value: &Spanned<String>,
        key: &str,
        most: usize,
    ) -> Result<String, ChipFileError> {
        let text = value.get_ref();
        let count = text.chars().count();
        if text.trim() != text || text.chars().any(char::is_control) || count == 0 || count > most {
            let expected = if most == 64 {
                "1 to 64 characters, no control characters, no blanks at the ends"
            } else {
                "1 to 400 characters, no control characters, no blanks at the ends"
            };
            return Err(self.wrong(value, key, expected, text));
        }
        Ok(text.clone())
    }
}
