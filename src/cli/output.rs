//! Words to people and programs. A reader that has gone away ends nothing.

use crate::app::{Answer, JobError};
use serde::Serialize;
use std::io::{Write, stderr, stdout};

/// Where words go, and how much is said.
#[derive(Clone, Copy, Debug)]
pub struct Output {
    /// JSON on standard output.
    pub json: bool,
    /// Only reports.
    pub quiet: bool,
}

impl Output {
    /// As the options say.
    pub fn new(json: bool, quiet: bool) -> Self {
        Self { json, quiet }
    }

    /// A line of a report.
    pub fn line(text: &str) {
        let _ = writeln!(stdout(), "{text}");
        let _ = stdout().flush();
    }

    /// A value as one line of JSON.
    pub fn json(value: &impl Serialize) {
        if let Ok(text) = serde_json::to_string(value) {
            Self::line(&text);
        }
    }

    /// A line for people that programs do not need.
    pub fn say(self, text: &str) {
        if !self.quiet && !self.json {
            let _ = writeln!(stderr(), "{text}");
        }
    }

    /// A line for people that is said even with `--quiet`.
    pub fn always(text: &str) {
        let _ = writeln!(stderr(), "{text}");
    }

    /// Tells an answer, or why there is none, and gives the exit code.
    pub fn answer(self, answer: Result<Answer, JobError>) -> u8 {
        let answer = match answer {
            Ok(answer) => answer,
            Err(error) => return Self::fail(error.code(), &error.to_string()),
        };
        if self.json {
            Self::json(&answer.value);
        } else if !answer.text.is_empty() {
            Self::line(&answer.text);
        }
        for trouble in &answer.troubles {
            Self::always(trouble);
        }
        answer.code
    }

    /// Tells an error and gives its exit code back.
    pub fn fail(code: u8, text: &str) -> u8 {
        let _ = writeln!(stderr(), "buswright: {text}");
        code
    }
}
