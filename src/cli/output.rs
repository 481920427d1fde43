//! Words to people and programs. A reader that has gone away ends no job, but the exit code tells.

use super::plain::{plain, plain_json};
use crate::app::{Answer, JobError};
use serde::Serialize;
use serde_json::json;
use std::io::{ErrorKind, Write, stderr, stdout};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

/// The exit code of a run whose words did not get out.
const NOT_WRITTEN: u8 = 3;

/// Programs read standard output. A process has one of it, as it has one standard output.
static PROGRAMS_READ: AtomicBool = AtomicBool::new(false);
/// The first error of standard output.
static NOT_OUT: OnceLock<std::io::Error> = OnceLock::new();

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
        PROGRAMS_READ.store(json, Ordering::Relaxed);
        Self { json, quiet }
    }

    /// A line of a report.
    pub fn line(text: &str) {
        Self::out(&plain(text));
    }

    /// A value as one line of JSON.
    pub fn json(value: &impl Serialize) {
        if let Ok(text) = serde_json::to_string(value) {
            Self::out(&plain_json(&text));
        }
    }

    fn out(text: &str) {
        let written = writeln!(stdout(), "{text}").and_then(|()| stdout().flush());
        Self::written(written);
    }

    /// Remembers whether words have got out.
    pub fn written(result: std::io::Result<()>) {
        if let Err(error) = result {
            let _ = NOT_OUT.set(error);
        }
    }

    /// A line for people that programs do not need.
    pub fn say(self, text: &str) {
        if !self.quiet && !self.json {
            Self::always(text);
        }
    }

    /// A line for people that is said even with `--quiet`.
    pub fn always(text: &str) {
        let _ = writeln!(stderr(), "{}", plain(text));
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

    /// Tells an error, to programs as their one object, and gives its exit code back.
    pub fn fail(code: u8, text: &str) -> u8 {
        if PROGRAMS_READ.load(Ordering::Relaxed) {
            Self::json(&json!({ "event": "finished", "code": code, "text": text }));
        }
        Self::told(code, text)
    }

    /// Tells an error that programs have been told already, and gives its exit code back.
    pub fn told(code: u8, text: &str) -> u8 {
        Self::always(&format!("buswright: {text}"));
        code
    }

    /// The exit code of a run that has come to `code`: another one if its words did not get out.
    pub fn end(code: u8) -> u8 {
        let Some(error) = NOT_OUT.get() else { return code };
        // Whoever closes a pipe has seen enough and knows it.
        if error.kind() != ErrorKind::BrokenPipe {
            Self::always(&format!(
                "buswright: standard output: {error}; what was to be told there is not complete"
            ));
        }
        Self::not_written(code)
    }

    /// The exit code of a run that has come to `code`, as far as is known by now.
    pub fn code_by_now(code: u8) -> u8 {
        if NOT_OUT.get().is_some() { Self::not_written(code) } else { code }
    }

    /// `code`, unless it says that all is told.
    pub fn not_written(code: u8) -> u8 {
        if code <= 1 { NOT_WRITTEN } else { code }
    }
}
