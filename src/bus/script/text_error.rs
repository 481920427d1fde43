//! What can be wrong with the text of a script.

use thiserror::Error;

/// A line that is no operation.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("line {line}: {what}")]
pub struct TextError {
    /// The line of the text, from 1.
    pub line: usize,
    /// What is wrong there.
    pub what: TextFault,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum TextFault {
    /// The first word begins no operation.
    #[error(
        "`{word}` begins no operation; docs/script.md has listings of all, such as `write AA at 0x555`",
        word = shown(.0)
    )]
    NoOperation(String),
    /// Another word should stand here.
    #[error("expected {expected}, got {got}")]
    Expected {
        /// What may stand here.
        expected: String,
        /// What stands here, ready to be shown.
        got: String,
    },
    /// An `end` without a block.
    #[error("`end` ends nothing that is open; remove it, or add the loop, critical or atomic")]
    NothingOpen,
}

impl TextFault {
    /// `got` is a word of the text; an empty one stands for the end of the line.
    pub(super) fn expected(expected: &str, got: &str) -> Self {
        let got = match got {
            "" => "the end of the line".to_owned(),
            got => format!("`{}`", shown(got)),
        };
        Self::Expected { expected: expected.to_owned(), got }
    }
}

/// Short, and without what could steer a terminal.
fn shown(text: &str) -> String {
    text.chars().take(32).flat_map(char::escape_debug).collect()
}
