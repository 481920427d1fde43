//! Capture ids: a serial and a running number.

use super::ShelfError;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The id of a finished capture, which is also the name of its folder: `0417-003`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct CaptureId {
    serial: String,
    number: u32,
}

impl CaptureId {
    /// The id of capture `number` of the serial with this slug.
    pub(super) fn new(serial: String, number: u32) -> Self {
        Self { serial, number }
    }

    /// The serial's slug.
    pub(crate) fn serial(&self) -> &str {
        &self.serial
    }

    /// The running number, from 1 on.
    pub(crate) fn number(&self) -> u32 {
        self.number
    }
}

impl fmt::Display for CaptureId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:03}", self.serial, self.number)
    }
}

impl FromStr for CaptureId {
    type Err = ShelfError;

    /// Takes only the one way an id is written, so that it can never lead to another folder.
    fn from_str(text: &str) -> Result<Self, ShelfError> {
        let bad = || ShelfError::BadId { asked: text.to_owned() };
        let (serial, number) = text.rsplit_once('-').ok_or_else(bad)?;
        let good = |letter: char| {
            letter.is_ascii_lowercase() || letter.is_ascii_digit() || matches!(letter, '-' | '.')
        };
        let number = number.parse().map_err(|_| bad())?;
        let id = Self { serial: serial.to_owned(), number };
        let plain = !serial.is_empty() && !serial.starts_with('.') && serial.chars().all(good);
        if plain && number > 0 && id.to_string() == text { Ok(id) } else { Err(bad()) }
    }
}

impl TryFrom<String> for CaptureId {
    type Error = ShelfError;
    fn try_from(text: String) -> Result<Self, ShelfError> {
        text.parse()
    }
}

impl From<CaptureId> for String {
    fn from(id: CaptureId) -> Self {
        id.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_come_back() {
        for text in ["0417-003", "a-12-1000", "7.2-001"] {
            assert_eq!(text.parse::<CaptureId>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn only_one_spelling_is_an_id() {
        for text in
            ["", "0417", "-001", "0417-3", "0417-0003", "0417-000", "0417-+03", "../x-001", "A-001"]
        {
            assert!(matches!(text.parse::<CaptureId>(), Err(ShelfError::BadId { .. })), "{text}");
        }
    }
}
