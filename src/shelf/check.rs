//! Does a capture still fit its record?

use super::text::crc_hex;
use super::{CaptureId, Record, Shelf, ShelfError, sha256_hex};
use crate::bus::{ByteAddress, crc32};
use thiserror::Error;

/// One thing that does not fit.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub(crate) enum Fault {
    /// The content is shorter or longer.
    #[error("content.bin has {got} bytes, its record says {expected}")]
    Length {
        /// As recorded.
        expected: u64,
        /// As found.
        got: u64,
    },
    /// A block has another checksum.
    #[error(
        "{space}, block {block}: the {bytes} bytes from {at} of content.bin have checksum {got}, \
         the record says {expected}"
    )]
    Block {
        /// The space.
        space: String,
        /// The block, counted from the start of the space.
        block: usize,
        /// Where it begins in the content.
        at: ByteAddress,
        /// Its length.
        bytes: u64,
        /// As recorded.
        expected: String,
        /// As found.
        got: String,
    },
    /// Several blocks in a row have other checksums.
    #[error(
        "{space}, blocks {first} to {last}: the {bytes} bytes from {at} of content.bin have other \
         checksums than the record says"
    )]
    Blocks {
        /// The space.
        space: String,
        /// The first, counted from the start of the space.
        first: usize,
        /// The last.
        last: usize,
        /// Where they begin in the content.
        at: ByteAddress,
        /// Their length together.
        bytes: u64,
    },
    /// A space has another SHA-256.
    #[error("{space}: SHA-256 is {got}, the record says {expected}")]
    Space {
        /// The space.
        space: String,
        /// As recorded.
        expected: String,
        /// As found.
        got: String,
    },
    /// The whole content has another SHA-256.
    #[error("content.bin: SHA-256 is {got}, the record says {expected}")]
    Whole {
        /// As recorded.
        expected: String,
        /// As found.
        got: String,
    },
    /// The record contradicts itself.
    #[error("record.toml: {why}")]
    Record {
        /// What is wrong.
        why: String,
    },
    /// Record or content cannot be read.
    #[error("{why}")]
    Unreadable {
        /// The error.
        why: String,
    },
}

impl Fault {
    /// Takes up the fault of the block that follows; `None` if it is of another one.
    fn and_next(&mut self, next: &Self) -> Option<()> {
        let Self::Block { space: of, block, bytes: more, .. } = next else { return None };
        match self {
            Self::Block { space, block: first, at, bytes, .. }
                if space == of && *first + 1 == *block =>
            {
                *self = Self::Blocks {
                    space: of.clone(),
                    first: *first,
                    last: *block,
                    at: *at,
                    bytes: *bytes + more,
                };
            }
            Self::Blocks { space, last, bytes, .. } if space == of && *last + 1 == *block => {
                *last = *block;
                *bytes += more;
            }
            _ => return None,
        }
        Some(())
    }
}

/// What a check of one capture found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct CheckReport {
    /// The capture.
    pub(crate) id: CaptureId,
    /// What does not fit; empty if all is good.
    pub(crate) faults: Vec<Fault>,
}

impl CheckReport {
    /// True if everything fits.
    pub(crate) fn good(&self) -> bool {
        self.faults.is_empty()
    }
}

impl Shelf {
    /// Computes every sum of one capture, or of all, anew and names what does not fit.
    pub(crate) fn check(&self, id: Option<&CaptureId>) -> Result<Vec<CheckReport>, ShelfError> {
        let ids = match id {
            Some(id) => vec![self.find(&id.to_string(), None)?],
            None => self.ids()?,
        };
        Ok(ids.into_iter().map(|id| self.check_one(id)).collect())
    }

    fn check_one(&self, id: CaptureId) -> CheckReport {
        let content = self.files().read(&self.folder(&id).join("content.bin"));
        let faults = match (self.record(&id), content) {
            (Ok(record), Ok(content)) => faults(&record, &content),
            (record, content) => [record.err(), content.err()]
                .into_iter()
                .flatten()
                .map(|error| Fault::Unreadable { why: error.to_string() })
                .collect(),
        };
        CheckReport { id, faults }
    }
}

/// Everything in which `content` does not fit `record`, the smallest part first.
pub(super) fn faults(record: &Record, content: &[u8]) -> Vec<Fault> {
    let mut faults = Vec::new();
    let length = content.len() as u64;
    if length != record.bytes {
        faults.push(Fault::Length { expected: record.bytes, got: length });
    }
    let sheet = sha256_hex(record.sheet.text.as_bytes());
    if sheet != record.sheet.sha256 {
        let expected = &record.sheet.sha256;
        let why = format!("the sheet's text has SHA-256 {sheet}, the record says {expected}");
        faults.push(Fault::Record { why });
    }
    let block_bytes = record.block_bytes as usize;
    for space in &record.spaces {
        // Sizes and sums may come from anybody: nothing is taken for granted.
        let from = usize::try_from(space.offset).unwrap_or(usize::MAX).min(content.len());
        let end = usize::try_from(space.offset.saturating_add(space.bytes)).unwrap_or(usize::MAX);
        let bytes = &content[from..end.clamp(from, content.len())];
        let words = u64::from(space.words) * space.width.bytes() as u64;
        let blocks = space.bytes.div_ceil(u64::from(record.block_bytes.max(1)));
        if block_bytes == 0 || words != space.bytes || blocks != space.crc32.len() as u64 {
            let why = format!(
                "{}: {} words, {} bytes and {} checksums of blocks of {block_bytes} bytes do not \
                 fit each other",
                space.name,
                space.words,
                space.bytes,
                space.crc32.len()
            );
            faults.push(Fault::Record { why });
        } else {
            for (block, expected) in space.crc32.iter().enumerate() {
                let begin = (block * block_bytes).min(bytes.len());
                let got = &bytes[begin..(begin + block_bytes).min(bytes.len())];
                let at = ByteAddress(space.offset + (block * block_bytes) as u64);
                let sum = crc_hex(crc32(got));
                if sum != *expected {
                    let fault = Fault::Block {
                        space: space.name.clone(),
                        block,
                        at,
                        bytes: got.len() as u64,
                        expected: expected.clone(),
                        got: sum,
                    };
                    match faults.last_mut().and_then(|before| before.and_next(&fault)) {
                        Some(()) => {}
                        None => faults.push(fault),
                    }
                }
            }
        }
        let got = sha256_hex(bytes);
        if got != space.sha256 {
            let (space, expected) = (space.name.clone(), space.sha256.clone());
            faults.push(Fault::Space { space, expected, got });
        }
    }
    let got = sha256_hex(content);
    if got != record.sha256 {
        faults.push(Fault::Whole { expected: record.sha256.clone(), got });
    }
    faults
}
