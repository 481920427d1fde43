//! The progress log of an unfinished capture: one checksummed line per step.
//!
//! ```text
//! block 12 786432 65536 1a2b3c4d *5e6f7081
//! fact "pass 2 ended good" *0badc0de
//! resumed *8899aabb
//! ```
//!
//! A line whose checksum does not fit (cut short by a kill, damaged) is as if it were not there.

use super::text::crc_hex;
use crate::bus::crc32;

/// One step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Entry {
    /// A block is in the content.
    Block {
        /// Its number.
        index: u32,
        /// Where it begins, in bytes.
        offset: u64,
        /// Its length in bytes.
        bytes: u32,
        /// Its checksum.
        crc: u32,
    },
    /// Something the job wants to know again after an interruption.
    Fact(String),
    /// The capture was gone on with.
    Resumed,
}

impl Entry {
    /// The line, without its end.
    pub(super) fn line(&self) -> String {
        let text = match self {
            Self::Block { index, offset, bytes, crc } => {
                format!("block {index} {offset} {bytes} {}", crc_hex(*crc))
            }
            // As JSON, so that a line end within the text does not end the line.
            Self::Fact(fact) => format!("fact {}", serde_json::Value::from(fact.as_str())),
            Self::Resumed => "resumed".to_owned(),
        };
        format!("{text} *{}", crc_hex(crc32(text.as_bytes())))
    }

    fn parse(line: &str) -> Option<Self> {
        let (text, sum) = line.rsplit_once(" *")?;
        if sum != crc_hex(crc32(text.as_bytes())) {
            return None;
        }
        if let Some(fact) = text.strip_prefix("fact ") {
            return serde_json::from_str(fact).ok().map(Self::Fact);
        }
        let mut words = text.split(' ');
        match words.next()? {
            "block" => Some(Self::Block {
                index: words.next()?.parse().ok()?,
                offset: words.next()?.parse().ok()?,
                bytes: words.next()?.parse().ok()?,
                crc: u32::from_str_radix(words.next()?, 16).ok()?,
            }),
            "resumed" => Some(Self::Resumed),
            _ => None,
        }
    }
}

/// The good lines of a log, in order.
pub(super) fn parse(log: &[u8]) -> Vec<Entry> {
    log.split(|byte| *byte == b'\n')
        .filter_map(|line| Entry::parse(std::str::from_utf8(line).ok()?))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries() -> Vec<Entry> {
        vec![
            Entry::Block { index: 12, offset: 786_432, bytes: 65_536, crc: 0x0A2B_3C4D },
            Entry::Fact("two\nlines *and a star".to_owned()),
            Entry::Resumed,
        ]
    }

    fn log() -> String {
        entries().iter().fold(String::new(), |log, entry| log + &entry.line() + "\n")
    }

    #[test]
    fn lines_come_back() {
        assert_eq!(parse(log().as_bytes()), entries());
    }

    #[test]
    fn a_log_cut_anywhere_keeps_its_whole_lines() {
        let log = log();
        let ends: Vec<usize> = log.match_indices('\n').map(|(at, _)| at).collect();
        for cut in 0..log.len() {
            let whole = ends.iter().filter(|end| **end <= cut).count();
            assert_eq!(parse(&log.as_bytes()[..cut]), entries()[..whole], "cut at {cut}");
        }
    }

    #[test]
    fn a_flipped_bit_costs_its_own_line_only() {
        let log = log();
        for at in 0..log.len() {
            let mut damaged = log.clone().into_bytes();
            damaged[at] ^= 1;
            let found = parse(&damaged);
            assert!(found.iter().all(|entry| entries().contains(entry)), "byte {at}");
            assert!(!found.is_empty(), "byte {at}: {found:?}");
        }
    }
}
