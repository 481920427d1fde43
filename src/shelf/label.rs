//! Labels: which individual module.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::hash::{Hash, Hasher};
use std::str::FromStr;
use thiserror::Error;

/// The longest kind, in letters.
const KIND_MAX: usize = 40;
/// The longest serial, in letters.
const SERIAL_MAX: usize = 24;

/// The label of one individual module, its kind and its serial: `TG-7 #0417`.
///
/// Two labels that differ in nothing but upper and lower case mean the same module, since file
/// names that differ in nothing else are the same file on some disks.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct Label {
    kind: String,
    serial: String,
}

/// Why a text is no label.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub(crate) enum LabelError {
    /// No kind, or no serial.
    #[error(
        "\"{text}\" is no label: a label is the kind of module, a space, # and its serial, such as \
         \"TG-7 #0417\""
    )]
    NoSerial {
        /// What was given.
        text: String,
    },
    /// A letter that no file name should carry.
    #[error(
        "\"{text}\" is no label: the {part} has {found:?}; use letters a-z, digits, '-' and '.', a \
         letter or digit first and last"
    )]
    BadLetter {
        /// What was given.
        text: String,
        /// Kind or serial.
        part: &'static str,
        /// What is in the way.
        found: char,
    },
    /// Kind or serial too long.
    #[error("\"{text}\" is no label: the {part} has {got} letters; at most {max} are allowed")]
    TooLong {
        /// What was given.
        text: String,
        /// Kind or serial.
        part: &'static str,
        /// Its length.
        got: usize,
        /// The longest allowed.
        max: usize,
    },
}

impl Label {
    /// Reads a label such as `TG-7 #0417`; space around and between the parts does not matter.
    pub(crate) fn parse(text: &str) -> Result<Self, LabelError> {
        let none = || LabelError::NoSerial { text: text.to_owned() };
        let (kind, serial) = text.split_once('#').ok_or_else(none)?;
        let (kind, serial) = (kind.trim(), serial.trim());
        if kind.is_empty() || serial.is_empty() {
            return Err(none());
        }
        for (part, value, max) in [("kind", kind, KIND_MAX), ("serial", serial, SERIAL_MAX)] {
            let plain = |letter: &char| letter.is_ascii_alphanumeric();
            let good = |letter: &char| plain(letter) || matches!(letter, '-' | '.');
            let ends = [value.chars().next(), value.chars().last()];
            let bad = value.chars().find(|letter| !good(letter));
            let bad = bad.or(ends.into_iter().flatten().find(|letter| !plain(letter)));
            if let Some(found) = bad {
                return Err(LabelError::BadLetter { text: text.to_owned(), part, found });
            }
            if value.len() > max {
                let got = value.len();
                return Err(LabelError::TooLong { text: text.to_owned(), part, got, max });
            }
        }
        Ok(Self { kind: kind.to_owned(), serial: serial.to_owned() })
    }

    /// The kind of module.
    pub(crate) fn kind(&self) -> &str {
        &self.kind
    }

    /// The serial, as it was written.
    pub(crate) fn serial(&self) -> &str {
        &self.serial
    }

    /// The kind that labels of modules of a sheet named `sheet` have: its name with `-` for what a
    /// label cannot carry.
    pub(crate) fn kind_of(sheet: &str) -> String {
        let plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '.');
        let kind: String = sheet
            .chars()
            .map(|letter| if plain(letter) { letter } else { '-' })
            .take(KIND_MAX)
            .collect();
        let kind = kind.trim_matches(['-', '.']);
        if kind.is_empty() { "module".to_owned() } else { kind.to_owned() }
    }

    /// The serial as file names and capture ids carry it: `0417`.
    pub(crate) fn serial_slug(&self) -> String {
        self.serial.to_ascii_lowercase()
    }

    /// The label as file names carry it: `0417_tg-7`. Neither part can hold the `_`.
    pub(crate) fn slug(&self) -> String {
        format!("{}_{}", self.serial_slug(), self.kind.to_ascii_lowercase())
    }
}

impl PartialEq for Label {
    fn eq(&self, other: &Self) -> bool {
        self.slug() == other.slug()
    }
}

impl Eq for Label {}

impl Hash for Label {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.slug().hash(state);
    }
}

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} #{}", self.kind, self.serial)
    }
}

impl FromStr for Label {
    type Err = LabelError;
    fn from_str(text: &str) -> Result<Self, LabelError> {
        Self::parse(text)
    }
}

impl TryFrom<String> for Label {
    type Error = LabelError;
    fn try_from(text: String) -> Result<Self, LabelError> {
        Self::parse(&text)
    }
}

impl From<Label> for String {
    fn from(label: Label) -> Self {
        label.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_come_back() {
        let label = Label::parse("TG-7 #0417").unwrap();
        assert_eq!((label.kind(), label.serial.as_str()), ("TG-7", "0417"));
        assert_eq!(label.serial_slug(), "0417");
        assert_eq!(label.slug(), "0417_tg-7");
        assert_eq!(label.to_string(), "TG-7 #0417");
        assert_eq!(label, Label::parse("  tg-7#0417 ").unwrap());
        assert_ne!(label, Label::parse("TG-7b #0417").unwrap());
    }

    #[test]
    fn every_sheet_has_a_kind_that_a_label_can_carry() {
        for (sheet, kind) in
            [("TG-7", "TG-7"), ("EF 32/b", "EF-32-b"), ("(Größe)", "Gr--e"), ("é", "module")]
        {
            assert_eq!(Label::kind_of(sheet), kind);
            assert_eq!(Label::parse(&format!("{kind} #1")).unwrap().kind(), kind);
        }
        let long = Label::kind_of(&"a".repeat(64));
        assert!(Label::parse(&format!("{long} #1")).is_ok());
    }

    #[test]
    fn what_is_no_label_is_told_why() {
        for text in ["", "TG-7", "TG-7 #", "#0417", " # "] {
            assert!(matches!(Label::parse(text), Err(LabelError::NoSerial { .. })), "{text}");
        }
        for (text, letter) in
            [("TG/7 #1", '/'), ("TG-7 #..", '.'), ("TG-7 ##1", '#'), ("T_G #1", '_'), ("é #1", 'é')]
        {
            let error = Label::parse(text).unwrap_err();
            assert!(
                matches!(error, LabelError::BadLetter { found, .. } if found == letter),
                "{error}"
            );
        }
        let long = format!("TG-7 #{}", "1".repeat(25));
        assert!(
            Label::parse(&long).unwrap_err().to_string().contains("has 25 letters; at most 24")
        );
    }
}
