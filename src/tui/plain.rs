//! Text from outside, made safe for a terminal and cut to measure.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// `text` without control characters and without signs that reorder a line; line ends become
/// blanks.
pub fn plain(text: &str) -> String {
    text.chars().filter_map(harmless).collect()
}

fn harmless(c: char) -> Option<char> {
    match c {
        '\n' | '\t' => Some(' '),
        // Marks that turn the direction of a line (Unicode, "Bidirectional Algorithm").
        '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => None,
        c if c.is_control() => None,
        c => Some(c),
    }
}

/// Cells that `text` takes.
pub fn width(text: &str) -> usize {
    text.width()
}

/// `text` in at most `room` cells; `more` stands for what did not fit.
pub fn fit(text: &str, room: usize, more: char) -> String {
    if width(text) <= room {
        return text.to_string();
    }
    let mut out = String::new();
    let mut used = 1;
    for c in text.chars() {
        used += c.width().unwrap_or(0);
        if used > room {
            break;
        }
        out.push(c);
    }
    if room > 0 {
        out.push(more);
    }
    out
}

/// `text` in lines of at most `room` cells, parted at blanks where that can be; line ends stay.
pub fn wrap(text: &str, room: usize) -> Vec<String> {
    let room = room.max(1);
    let mut lines = Vec::new();
    for part in text.split('\n') {
        let mut line = String::new();
        for word in part.split_inclusive(' ') {
            let full = width(&line) + width(word.trim_end()) > room;
            if full && !line.is_empty() {
                lines.push(line.trim_end().to_string());
                line = String::new();
            }
            for c in word.chars().filter_map(harmless) {
                if width(&line) + c.width().unwrap_or(0) > room {
                    // A blank between two lines is neither's.
                    if c == ' ' {
                        continue;
                    }
                    lines.push(std::mem::take(&mut line));
                }
                line.push(c);
            }
        }
        lines.push(line.trim_end().to_string());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn words_stay_whole_where_they_can() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("of 36 blocks", 5), ["of 36", "block", "s"]);
        assert_eq!(wrap("abcdefgh", 3), ["abc", "def", "gh"]);
        assert_eq!(wrap("a\nb", 9), ["a", "b"]);
        assert_eq!(fit("abcdef", 4, '~'), "abc~");
    }

    #[test]
    fn what_could_move_the_cursor_is_gone() {
        assert_eq!(plain("a\u{1b}[2Jb\r\nc\u{202e}d\u{9b}"), "a[2Jb cd");
    }

    proptest! {
        #[test]
        fn no_line_is_too_long(text in "\\PC{0,60}", room in 2_usize..20) {
            for line in wrap(&text, room) {
                prop_assert!(width(&line) <= room, "{:?}", line);
            }
            prop_assert!(width(&fit(&text, room, '~')) <= room);
        }
    }
}
