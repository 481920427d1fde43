//! Names of lines, their levels, and the pins they sit on.

use std::fmt;

/// A logic level of a control line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Level {
    /// Near ground.
    Low,
    /// Near the rail.
    High,
}

impl Level {
    /// The other level.
    pub const fn opposite(self) -> Self {
        match self {
            Self::Low => Self::High,
            Self::High => Self::Low,
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Low => "low",
            Self::High => "high",
        })
    }
}

/// A control line of the module with the level that makes it active.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct LineLevel {
    /// The control line.
    pub line: String,
    /// Its active level.
    pub level: Level,
}

/// What sits on a pin.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineName {
    /// Data line, 0 to 31.
    Data(u8),
    /// Address line, 0 to 31.
    Address(u8),
    /// A control line by its name.
    Control(String),
    /// Ground: GND or VSS.
    Ground,
    /// The rail: VCC or VDD.
    Rail,
    /// Not connected inside the module: NC.
    NotConnected,
    /// Nobody has found out yet: `?`.
    NotTraced,
}

impl LineName {
    /// Reads a line's name; `None` if it is not written as one.
    ///
    /// Anything that is not a data, address or supply line is a control line, so whether that
    /// control line exists is the caller's question.
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "GND" | "VSS" => return Some(Self::Ground),
            "VCC" | "VDD" => return Some(Self::Rail),
            "NC" => return Some(Self::NotConnected),
            "?" => return Some(Self::NotTraced),
            _ => {}
        }
        if let Some(digits) = bus_digits(text) {
            let number = digits.parse().ok().filter(|n| *n < 32)?;
            let written_plainly = digits == "0" || !digits.starts_with('0');
            return written_plainly.then_some(if text.starts_with('D') {
                Self::Data(number)
            } else {
                Self::Address(number)
            });
        }
        let good = |c: char| c.is_ascii_alphanumeric() || "_-/#".contains(c);
        ((1..=64).contains(&text.len()) && text.chars().all(good))
            .then(|| Self::Control(text.to_owned()))
    }
}

/// The digits of a name that is D or A and a number.
fn bus_digits(text: &str) -> Option<&str> {
    let digits = text.strip_prefix('D').or_else(|| text.strip_prefix('A'))?;
    (!digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())).then_some(digits)
}

impl fmt::Display for LineName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Data(n) => write!(f, "D{n}"),
            Self::Address(n) => write!(f, "A{n}"),
            Self::Control(name) => f.write_str(name),
            Self::Ground => f.write_str("GND"),
            Self::Rail => f.write_str("VCC"),
            Self::NotConnected => f.write_str("NC"),
            Self::NotTraced => f.write_str("?"),
        }
    }
}

/// The numbers of lines of one kind, in runs: `D0-D3, D8`; `lines` rise.
pub(super) fn listed(letter: char, lines: impl Iterator<Item = u8>) -> String {
    let mut runs: Vec<(u8, u8)> = Vec::new();
    for line in lines {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == line => *last = line,
            _ => runs.push((line, line)),
        }
    }
    let one = |&(first, last): &(u8, u8)| match last {
        _ if first == last => format!("{letter}{first}"),
        _ => format!("{letter}{first}-{letter}{last}"),
    };
    runs.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// True if both name the same connector pin; letter case does not count.
pub fn same_pin(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_come_back_as_written() {
        for text in ["D0", "D31", "A19", "CS0", "WE", "R/W", "DIR", "A", "GND", "VCC", "NC", "?"] {
            assert_eq!(LineName::parse(text).unwrap().to_string(), text);
        }
        assert_eq!(LineName::parse("D7"), Some(LineName::Data(7)));
        assert_eq!(LineName::parse("ALE"), Some(LineName::Control("ALE".into())));
    }

    #[test]
    fn what_is_no_name() {
        for text in ["", "D32", "A99", "D999999", "D01", "CS 0", "CS0\n", "Ü"] {
            assert_eq!(LineName::parse(text), None, "{text:?}");
        }
    }
}
