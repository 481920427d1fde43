//! One line that is typed.

use super::keys::Key;
use super::plain::plain;
use ratatui::style::{Modifier, Style};
use tui_textarea::{CursorMove, Input, TextArea};

/// The longest line that is kept.
const LONGEST: usize = 240;

/// A line with a cursor.
#[derive(Clone, Debug)]
pub struct LineEdit {
    area: TextArea<'static>,
}

impl Default for LineEdit {
    fn default() -> Self {
        Self::new("")
    }
}

impl LineEdit {
    /// A line that says `text`, the cursor at its end.
    pub fn new(text: &str) -> Self {
        let mut area = TextArea::new(vec![plain(text)]);
        area.set_cursor_line_style(Style::default());
        area.set_max_histories(0);
        area.move_cursor(CursorMove::End);
        Self { area }
    }

    /// What it says.
    pub fn text(&self) -> &str {
        self.area.lines().first().map_or("", String::as_str)
    }

    /// True if it says nothing.
    pub fn is_empty(&self) -> bool {
        self.text().is_empty()
    }

    /// What stands before the cursor.
    pub fn before_cursor(&self) -> String {
        self.text().chars().take(self.area.cursor().1).collect()
    }

    /// Takes a key that edits; false if it is none.
    pub fn key(&mut self, key: Key) -> bool {
        use tui_textarea::Key as Edit;
        let (key, ctrl) = match key {
            Key::Char(c) if self.text().chars().count() < LONGEST && !c.is_control() => {
                (Edit::Char(c), false)
            }
            Key::Backspace => (Edit::Backspace, false),
            Key::Delete => (Edit::Delete, false),
            Key::Left => (Edit::Left, false),
            Key::Right => (Edit::Right, false),
            Key::Home => (Edit::Home, false),
            Key::End => (Edit::End, false),
            // To begin and end, to either end away, a word away.
            Key::Ctrl(c @ ('a' | 'e' | 'k' | 'w')) => (Edit::Char(c), true),
            Key::Ctrl('u') => (Edit::Char('j'), true),
            _ => return false,
        };
        self.area.input(Input { key, ctrl, alt: false, shift: false });
        true
    }

    /// Takes pasted text: one line of it, without control characters.
    pub fn paste(&mut self, text: &str) {
        let room = LONGEST.saturating_sub(self.text().chars().count());
        let text: String = plain(text).trim_end().chars().take(room).collect();
        self.area.insert_str(text);
    }

    /// Puts `text` in at the cursor as it is.
    pub fn paste_whole(&mut self, text: &str) {
        self.area.insert_str(plain(text));
    }

    /// The line's widget, with a cursor if it has the focus.
    pub fn area(&self, focus: bool) -> TextArea<'static> {
        let mut area = self.area.clone();
        let cursor = if focus { Modifier::REVERSED } else { Modifier::empty() };
        area.set_cursor_style(Style::default().add_modifier(cursor));
        area
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_paste_is_one_harmless_line() {
        let mut line = LineEdit::new("ab");
        line.paste("c\r\nd\u{1b}[A e\n");
        assert_eq!(line.text(), "abc d[A e");
        line.paste(&"x".repeat(1_000));
        assert_eq!(line.text().len(), LONGEST);
        assert!(line.key(Key::Char('y')) || line.text().len() == LONGEST);
    }

    #[test]
    fn keys_edit() {
        let mut line = LineEdit::new("store 10");
        for key in [Key::Backspace, Key::Home, Key::Char('x'), Key::End, Key::Char('?')] {
            assert!(line.key(key));
        }
        assert_eq!(line.text(), "xstore 1?");
        line.key(Key::Ctrl('w'));
        assert_eq!(line.text(), "xstore 1");
        line.key(Key::Ctrl('u'));
        assert!(line.is_empty());
        assert!(!line.key(Key::Enter));
    }
}
