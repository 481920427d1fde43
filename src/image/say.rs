//! Numbers in sentences.

use crate::bus::{Width, Word};

/// A number with what it counts: `1 word`, `2 words`.
pub(crate) fn counted(number: u64, one: &str) -> String {
    let more = if number == 1 { "" } else { "s" };
    format!("{number} {one}{more}")
}

/// A word's value, as many digits as its width has: `0x002A`.
pub(crate) fn word_text(width: Width, value: Word) -> String {
    format!("0x{value:0digits$X}", digits = width.bytes() * 2)
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
}
