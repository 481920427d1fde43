//! Bytes of a terminal into keys and pastes.
//!
//! Not the terminal library's own reader: that one waits for edges, and where a change of size and
//! a key come together it loses the key's (measured: a whole core until the next key). It also
//! reads on inside half a sequence, and nothing else is looked at until the rest comes.

use super::keys::Key;
use vte::{Params, Parser, Perform};

/// What `^C` sends.
const STOP: u8 = 3;
const ESC: u8 = 0x1B;
const DELETE: u8 = 0x7F;
/// A longer paste is cut; a line takes far less.
const PASTE_MAX: usize = 64 * 1024;

/// Something that was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Typed {
    /// A key.
    Key(Key),
    /// A paste, as the terminal has marked it, without sequences.
    Paste(String),
}

/// The state between two reads.
#[derive(Default)]
pub struct Input {
    parser: Parser,
    found: Found,
    /// An Esc that may be a key or the beginning of a sequence.
    escape: bool,
}

#[derive(Default)]
struct Found {
    out: Vec<Typed>,
    paste: Option<String>,
    /// A letter that follows is a key of the cursor block.
    block: bool,
}

impl Input {
    /// Takes what was read in one go. `fresh`: nothing came for a while, so that what is half
    /// there will not be completed any more.
    pub fn take(&mut self, bytes: &[u8], fresh: bool) -> Vec<Typed> {
        if fresh && self.found.paste.is_none() {
            self.parser = Parser::new();
            self.found.block = false;
        }
        // Whatever a paste or half a sequence has left open: what stops is always heard.
        if bytes == [STOP] {
            self.found.paste = None;
        }
        for &byte in bytes {
            self.byte(byte);
        }
        std::mem::take(&mut self.found.out)
    }

    fn byte(&mut self, byte: u8) {
        let pasted = self.found.paste.is_some();
        if std::mem::take(&mut self.escape) {
            if byte == ESC {
                self.found.key(Key::Esc);
                self.escape = true;
                return;
            }
            self.feed(ESC);
            return self.feed(byte);
        }
        match byte {
            ESC if !pasted => self.escape = true,
            STOP if !pasted => {
                self.parser = Parser::new();
                self.found.key(Key::Ctrl('c'));
            }
            DELETE if !pasted => self.found.key(Key::Backspace),
            _ => self.feed(byte),
        }
    }

    fn feed(&mut self, byte: u8) {
        self.parser.advance(&mut self.found, &[byte]);
    }

    /// True if an Esc was the last thing: the rest of a sequence would follow at once.
    pub fn waits(&self) -> bool {
        self.escape
    }

    /// Nothing has followed: it was the key.
    pub fn settle(&mut self) -> Option<Typed> {
        std::mem::take(&mut self.escape).then_some(Typed::Key(Key::Esc))
    }
}

impl Found {
    fn key(&mut self, key: Key) {
        self.out.push(Typed::Key(key));
    }
}

/// The keys of the cursor block, by the letter that ends their sequence.
fn of_letter(letter: char) -> Option<Key> {
    Some(match letter {
        'A' => Key::Up,
        'B' => Key::Down,
        'C' => Key::Right,
        'D' => Key::Left,
        'H' => Key::Home,
        'F' => Key::End,
        'Z' => Key::BackTab,
        _ => return None,
    })
}

impl Perform for Found {
    fn print(&mut self, sign: char) {
        if let Some(paste) = &mut self.paste {
            if paste.len() < PASTE_MAX {
                paste.push(sign);
            }
        } else if std::mem::take(&mut self.block) {
            if let Some(key) = of_letter(sign) {
                self.key(key);
            }
        } else if sign != char::REPLACEMENT_CHARACTER {
            self.key(Key::Char(sign));
        }
    }

    fn execute(&mut self, byte: u8) {
        self.block = false;
        if let Some(paste) = &mut self.paste {
            if matches!(byte, b'\r' | b'\n' | b'\t') && paste.len() < PASTE_MAX {
                paste.push(char::from(byte));
            }
            return;
        }
        match byte {
            b'\r' => self.key(Key::Enter),
            b'\t' => self.key(Key::Tab),
            8 => self.key(Key::Backspace),
            1..=26 => self.key(Key::Ctrl(char::from(byte - 1 + b'a'))),
            _ => {}
        }
    }

    fn csi_dispatch(&mut self, params: &Params, intermediates: &[u8], _: bool, letter: char) {
        if !intermediates.is_empty() {
            return;
        }
        let mut numbers = params.iter().map(|number| number.first().copied().unwrap_or(0));
        let first = numbers.next().unwrap_or(0);
        // One more than a sum of shift 1, alt 2, ctrl 4 (xterm, "PC-Style Function Keys").
        let alt = numbers.next().unwrap_or(0).saturating_sub(1) & 2 != 0;
        match (letter, first) {
            ('~', 200) => self.paste = Some(String::new()),
            ('~', 201) => self.out.extend(self.paste.take().map(Typed::Paste)),
            _ if self.paste.is_some() || alt => {}
            ('~', 1 | 7) => self.key(Key::Home),
            ('~', 4 | 8) => self.key(Key::End),
            ('~', 3) => self.key(Key::Delete),
            ('~', 5) => self.key(Key::PageUp),
            ('~', 6) => self.key(Key::PageDown),
            _ => self.out.extend(of_letter(letter).map(Typed::Key)),
        }
    }

    fn esc_dispatch(&mut self, _: &[u8], _: bool, byte: u8) {
        // A letter with Alt means nothing here; O begins the cursor block of some terminals.
        self.block = byte == b'O' && self.paste.is_none();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn keys(bytes: &[u8]) -> Vec<Key> {
        let mut input = Input::default();
        let mut typed = input.take(bytes, true);
        typed.extend(input.settle());
        typed
            .into_iter()
            .map(|one| match one {
                Typed::Key(key) => key,
                Typed::Paste(text) => panic!("{text}"),
            })
            .collect()
    }

    #[test]
    fn every_key_of_the_tables_is_known() {
        for (bytes, key) in [
            ("k", Key::Char('k')),
            ("é", Key::Char('é')),
            ("\r", Key::Enter),
            ("\t", Key::Tab),
            ("\u{1b}[Z", Key::BackTab),
            ("\u{7f}", Key::Backspace),
            ("\u{8}", Key::Backspace),
            ("\u{1}", Key::Ctrl('a')),
            ("\u{1a}", Key::Ctrl('z')),
            ("\u{1b}", Key::Esc),
            ("\u{1b}[A", Key::Up),
            ("\u{1b}OB", Key::Down),
            ("\u{1b}[1;5C", Key::Right),
            ("\u{1b}[D", Key::Left),
            ("\u{1b}[H", Key::Home),
            ("\u{1b}[4~", Key::End),
            ("\u{1b}[3~", Key::Delete),
            ("\u{1b}[5~", Key::PageUp),
            ("\u{1b}[6;2~", Key::PageDown),
        ] {
            assert_eq!(keys(bytes.as_bytes()), [key], "{bytes:?}");
        }
        assert_eq!(keys(b"\x1b\x1b"), [Key::Esc, Key::Esc]);
        assert_eq!(keys(b"\x1bk\x1b[1;3A"), [], "Alt means nothing");
        assert_eq!(keys(b"\xFFk\xC3"), [Key::Char('k')]);
    }

    #[test]
    fn a_sequence_in_two_reads_is_one_key() {
        let mut input = Input::default();
        assert!(input.take(b"a\x1b", true).len() == 1 && input.waits());
        assert_eq!(input.take(b"[", false), []);
        assert_eq!(input.take(b"A", false), [Typed::Key(Key::Up)]);
        assert_eq!(input.settle(), None);
    }

    #[test]
    fn a_paste_comes_whole_and_without_sequences() {
        let mut input = Input::default();
        assert_eq!(input.take(b"\x1b[200~rail off\r\n\x03", true), []);
        let got = input.take(b"qu\x1b[Ait\x1b[201~k", true);
        let text = "rail off\r\nquit".to_string();
        assert_eq!(got, [Typed::Paste(text), Typed::Key(Key::Char('k'))]);
    }

    #[test]
    fn what_stops_is_heard_whatever_is_half_there() {
        let stop = [Typed::Key(Key::Ctrl('c'))];
        for open in
            ["\u{1b}[200~never ended", "\u{1b}]0;title", "\u{1b}P1$", "\u{1b}[12", "\u{1b}O"]
        {
            let mut input = Input::default();
            input.take(open.as_bytes(), true);
            assert_eq!(input.take(&[STOP], false), stop, "{open:?}");
        }
        let mut input = Input::default();
        input.take(b"\x1b]0;title", true);
        assert_eq!(input.take(b"k", true), [Typed::Key(Key::Char('k'))], "after a while");
    }

    proptest! {
        #[test]
        fn no_bytes_panic_or_gather_without_bound(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let mut input = Input::default();
            let typed = input.take(&bytes, true);
            prop_assert!(typed.len() <= bytes.len());
        }
    }
}
