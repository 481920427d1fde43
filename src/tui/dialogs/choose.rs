//! A row of a list, or something typed.

use crate::tui::line_edit::LineEdit;

/// What is chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choice {
    /// A port.
    Port,
    /// A module sheet.
    Sheet,
    /// An image for a plan.
    Image,
}

/// A list whose last row is typed.
#[derive(Clone, Debug)]
pub struct Choose {
    /// What is chosen.
    pub what: Choice,
    /// Names, with what is known of each.
    pub rows: Vec<(String, String)>,
    /// The row; the number of rows for the typed one.
    pub at: usize,
    /// The typed one.
    pub typed: LineEdit,
    /// Why it cannot be.
    pub wrong: Option<String>,
}

impl Choose {
    /// A list with `present` chosen; what is not in the list is typed.
    pub fn new(what: Choice, rows: Vec<(String, String)>, present: &str) -> Self {
        let found = rows.iter().position(|(name, _)| name == present);
        let typed = if found.is_some() { "" } else { present };
        let at = found.unwrap_or(if typed.is_empty() { 0 } else { rows.len() });
        Self { what, rows, at, typed: LineEdit::new(typed), wrong: None }
    }

    /// True if the typed row is chosen.
    pub fn is_typed(&self) -> bool {
        self.at >= self.rows.len()
    }

    /// What is chosen.
    pub fn name(&self) -> &str {
        self.rows.get(self.at).map_or(self.typed.text(), |(name, _)| name.as_str()).trim()
    }

    /// Other rows have come in; what is chosen stays.
    pub fn refill(&mut self, rows: Vec<(String, String)>) {
        let name = self.rows.get(self.at).map(|(name, _)| name.clone());
        let found = name.and_then(|name| rows.iter().position(|(of, _)| *of == name));
        let first = self.rows.is_empty() && self.typed.is_empty();
        self.at = found.unwrap_or(if first { 0 } else { rows.len() });
        self.rows = rows;
    }
}
