//! The bus console: what a line means, what was said, and what came back.

pub mod grammar;
mod show;

pub use show::{Part, Row, rows, told};

use super::line_edit::LineEdit;
use grammar::Cycle;
use std::collections::VecDeque;

/// Rows kept on the screen's side.
const ROWS: usize = 400;
/// Lines that can be called back.
const HISTORY: usize = 100;

/// The console's state.
#[derive(Clone, Debug, Default)]
pub struct Console {
    /// The line that is typed.
    pub line: LineEdit,
    /// What was said and answered, oldest first.
    pub rows: VecDeque<Row>,
    /// The cycle that an empty line repeats.
    pub last: Option<Cycle>,
    /// Rows of the screen between the newest one and the lowest that is shown.
    pub up: usize,
    history: Vec<String>,
    /// Which line of the history is in the line; its length for none.
    at: usize,
    /// Words seen at each address, so that changed bits can be shown.
    seen: Vec<((usize, u32), u32)>,
}

impl Console {
    /// Adds a row.
    pub fn push(&mut self, row: Row) {
        if self.rows.len() >= ROWS {
            self.rows.pop_front();
        }
        self.rows.push_back(row);
    }

    /// A line was given: it is shown and can be called back.
    pub fn given(&mut self, line: &str) {
        self.push(Row::said(line));
        if self.history.last().map(String::as_str) != Some(line) {
            self.history.push(line.to_string());
            if self.history.len() > HISTORY {
                self.history.remove(0);
            }
        }
        self.at = self.history.len();
        self.up = 0;
        self.line = LineEdit::default();
    }

    /// The line before (or after) in the history.
    pub fn call_back(&mut self, earlier: bool) {
        let next = if earlier { self.at.saturating_sub(1) } else { self.at + 1 };
        self.at = next.min(self.history.len());
        self.line = LineEdit::new(self.history.get(self.at).map_or("", String::as_str));
    }

    /// The word seen before at this address; from now on it is `word`.
    pub fn seen(&mut self, space: usize, address: u32, word: u32) -> Option<u32> {
        let place = (space, address);
        if let Some(at) = self.seen.iter().position(|(of, _)| *of == place) {
            let before = self.seen.remove(at).1;
            self.seen.push((place, word));
            return Some(before);
        }
        if self.seen.len() >= ROWS {
            self.seen.remove(0);
        }
        self.seen.push((place, word));
        None
    }
}
