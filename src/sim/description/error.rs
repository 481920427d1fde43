//! What is wrong with a bench file.

use std::fmt;
use thiserror::Error;

/// What is wrong with a bench file, where, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub struct BenchError {
    /// The file.
    pub file: String,
    /// The line, from 1; 0 where no line is at fault.
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub next: String,
}

impl BenchError {
    pub(super) fn new(
        file: &str,
        line: usize,
        what: impl Into<String>,
        next: impl Into<String>,
    ) -> Self {
        Self { file: file.to_owned(), line, what: what.into(), next: next.into() }
    }
}

impl fmt::Display for BenchError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if self.line > 0 {
            write!(f, ":{}", self.line)?;
        }
        write!(f, ": {}; {}", self.what, self.next)
    }
}
