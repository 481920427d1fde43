//! Numbers and names in sentences.

use crate::bus::{Width, Word};
use std::fmt::Display;

/// A number with what it counts: `1 word`, `2 words`.
pub(crate) fn counted(number: u64, one: &str) -> String {
    let more = if number == 1 { "" } else { "s" };
    format!("{number} {one}{more}")
}

/// A word's value, as many digits as its width has: `0x002A`.
pub(crate) fn word_text(width: Width, value: Word) -> String {
    format!("0x{value:0digits$X}", digits = width.bytes() * 2)
}

/// A name from outside, such as that of a file, on one line: control characters, line breaks among
/// them, are shown as Rust writes them.
pub(crate) fn one_line(name: impl Display) -> String {
    let mut shown = String::new();
    for letter in name.to_string().chars() {
        if letter.is_control() {
            shown.extend(letter.escape_default());
        } else {
            shown.push(letter);
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_one_and_words_have_all_their_digits() {
        let said: Vec<_> = (0..3).map(|number| counted(number, "word")).collect();
        assert_eq!(said, ["0 words", "1 word", "2 words"]);
        assert_eq!(word_text(Width::W16, 0x2A), "0x002A");
        assert_eq!(word_text(Width::W32, 0), "0x00000000");
    }
    #[test]
    fn a_name_keeps_to_its_line() {
        assert_eq!(one_line("copies/Größe 1.bin"), "copies/Größe 1.bin");
        assert_eq!(one_line("a\nb\t\u{1b}[2J.bin"), r"a\nb\t\u{1b}[2J.bin");
    }
}
