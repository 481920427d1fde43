//! Text from elsewhere (notes, labels, file names, boards) as a terminal may get it.

use std::borrow::Cow;

/// True for what would do something to a terminal, or turn the text around, and shows nothing.
fn acts(letter: char) -> bool {
    letter.is_control() && !matches!(letter, '\n' | '\t')
        || matches!(letter, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// `text` with such letters escaped.
pub fn plain(text: &str) -> Cow<'_, str> {
    escaped(text, |letter| letter.escape_unicode().to_string())
}

/// A line of JSON with such letters escaped as JSON has it; they can only be within its strings.
pub fn plain_json(line: &str) -> Cow<'_, str> {
    escaped(line, |letter| format!("\\u{:04x}", u32::from(letter)))
}

fn escaped(text: &str, escape: impl Fn(char) -> String) -> Cow<'_, str> {
    if !text.chars().any(acts) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len() + 8);
    for letter in text.chars() {
        if acts(letter) {
            out.push_str(&escape(letter));
        } else {
            out.push(letter);
        }
    }
    out.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_is_shown_and_the_rest_stays() {
        assert_eq!(plain("Größe\n\tok"), "Größe\n\tok");
        assert_eq!(plain("a\u{1b}[2Jb\r\u{9b}\u{202E}"), r"a\u{1b}[2Jb\u{d}\u{9b}\u{202e}");
        let line = serde_json::to_string("\u{7f}\u{9b}\u{1b}").unwrap();
        let shown = plain_json(&line);
        assert_eq!(shown, r#""\u007f\u009b\u001b""#);
        assert_eq!(serde_json::from_str::<String>(&shown).unwrap(), "\u{7f}\u{9b}\u{1b}");
    }
}
