//! One calm line of progress on a terminal, a few lines elsewhere, and the events as JSON.

use super::context::Context;
use super::output::Output;
use crate::app::{Event, Outcome, View, sentence};
use crate::image::one_line;
use jiff::Timestamp;
use serde::Serialize;
use std::borrow::Cow;
use std::fs::{File, OpenOptions};
use std::io::{IsTerminal, Write, stderr};
use std::path::Path;
use std::time::{Duration, Instant};

/// Between two drawings of the line.
const FRAME: Duration = Duration::from_millis(250);
/// Between two lines of progress where it is no terminal.
const LINE: Duration = Duration::from_secs(5);

/// A line of the log file.
#[derive(Serialize)]
struct Logged<'a> {
    time: Timestamp,
    #[serde(flatten)]
    event: &'a Event,
}

/// Follows a job's events.
pub struct Progress<'a> {
    context: &'a Context,
    view: View,
    log: Option<File>,
    log_trouble: Option<std::io::Error>,
    on_terminal: bool,
    drawn: Option<Instant>,
    pass_since: Instant,
}

impl<'a> Progress<'a> {
    /// Opens the log file, if one is named.
    pub fn new(context: &'a Context) -> Result<Self, String> {
        let log = match &context.global.log {
            None => None,
            Some(path) => {
                Some(OpenOptions::new().create(true).append(true).open(path).map_err(|error| {
                    format!(
                        "log {}: {error}; name a file that can be written",
                        one_line(path.display())
                    )
                })?)
            }
        };
        let output = context.output;
        let on_terminal = stderr().is_terminal() && !output.json && !output.quiet;
        let now = Instant::now();
        Ok(Self {
            context,
            view: View::default(),
            log,
            log_trouble: None,
            on_terminal,
            drawn: None,
            pass_since: now,
        })
    }

    /// Takes an event.
    pub fn event(&mut self, event: &Event) {
        event.reduce(&mut self.view);
        let output = self.context.output;
        if output.json && (!output.quiet || matches!(event, Event::Finished(_))) {
            Output::json(&*self.with_code(event));
        }
        // Behind standard output: the log knows whether the last event has got out there.
        let event = &*self.with_code(event);
        if let Some(log) = &mut self.log
            && let Ok(line) = serde_json::to_string(&Logged { time: Timestamp::now(), event })
            // In one piece: two programs may append to the same file.
            && let Err(error) = log.write_all(format!("{line}\n").as_bytes())
        {
            // The job counts more than its log.
            self.log_trouble = Some(error);
            self.log = None;
        }
        if let Some(line) = sentence(event) {
            self.clear();
            if is_caution(event) {
                Output::always(&line);
            } else {
                output.say(&line);
            }
        }
        match event {
            Event::Pass { .. } => {
                self.pass_since = Instant::now();
                self.drawn = None;
            }
            Event::Block { .. } => self.draw(),
            Event::Finished(_) => self.clear(),
            _ => {}
        }
    }

    /// A final event with the exit code that the process will have: not only the job counts, but
    /// also whether its words got out.
    fn with_code<'e>(&self, event: &'e Event) -> Cow<'e, Event> {
        let Event::Finished(outcome) = event else { return Cow::Borrowed(event) };
        let mut code = Output::code_by_now(outcome.code);
        if self.log_trouble.is_some() {
            code = Output::not_written(code);
        }
        Cow::Owned(Event::Finished(Outcome { code, ..outcome.clone() }))
    }

    /// The exit code of a job that has come to `code`: another one if its log is not complete.
    pub fn end(&self, code: u8) -> u8 {
        let Some(error) = &self.log_trouble else { return code };
        let path = self.context.global.log.as_deref().unwrap_or_else(|| Path::new(""));
        Output::always(&format!(
            "buswright: log {}: {error}; what happened after that is not in it",
            one_line(path.display())
        ));
        Output::not_written(code)
    }

    fn draw(&mut self) {
        let drawn = self.drawn.map(|at| at.elapsed());
        if !is_due(self.on_terminal, drawn, self.pass_since.elapsed()) {
            return;
        }
        self.drawn = Some(Instant::now());
        let (done, all) = self.view.done;
        let Some((space, what)) = &self.view.doing else { return };
        let percent = (done * 100).checked_div(all).unwrap_or(100);
        let millis = self.pass_since.elapsed().as_millis().max(1) as u64;
        let rate = humansize::format_size(done * 1_000 / millis, humansize::BINARY);
        if !self.on_terminal {
            self.context.output.say(&format!("{space}: {what} {percent} %"));
            return;
        }
        let _ = write!(stderr(), "\r{space}: {what} {percent:3} %  {rate}/s   ");
        let _ = stderr().flush();
    }

    fn clear(&mut self) {
        if self.on_terminal && self.drawn.take().is_some() {
            let _ = write!(stderr(), "\r{:60}\r", "");
        }
    }
}

/// True if progress is to be shown again: so long after it was shown last, in a pass that is so old.
fn is_due(on_terminal: bool, drawn: Option<Duration>, pass: Duration) -> bool {
    if on_terminal {
        return drawn.is_none_or(|since| since >= FRAME);
    }
    // What begins was just said, in a line of its own.
    drawn.unwrap_or(pass) >= LINE
}

/// Told whatever people want to be told: a module is in danger, or a person must measure.
fn is_caution(event: &Event) -> bool {
    matches!(
        event,
        Event::Caution { .. } | Event::RailUnknown | Event::Rail { on: false, measured: false, .. }
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_is_a_line_drawn_anew_or_a_few_lines() {
        let after = Duration::from_millis;
        assert!(is_due(true, None, after(0)) && is_due(true, Some(after(250)), after(300)));
        assert!(!is_due(true, Some(after(249)), after(9_000)));
        assert!(!is_due(false, None, after(4_999)) && is_due(false, None, after(5_000)));
        assert!(!is_due(false, Some(after(4_999)), after(9_999)));
        assert!(is_due(false, Some(after(5_000)), after(10_000)));
    }
}
