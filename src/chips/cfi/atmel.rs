//! The extended table of Atmel parts that use the AMD command set (order of fields as Linux
//! `include/linux/mtd/cfi.h` has it, from memory).

use super::primary::{Version, version};
use super::{CfiError, Query};

/// The extended table of an Atmel part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AtmelTable {
    /// Its version.
    pub version: Version,
    /// Feature bits; bit 1 is erase suspend (+5).
    pub features: u8,
    /// True for a bottom-boot part, by the table's word. It is the wrong way round on some parts
    /// (from memory), so the order of sectors never rests on it (+6).
    pub says_bottom: bool,
    /// Burst mode byte (+7).
    pub burst: u8,
    /// Page mode byte (+8).
    pub page: u8,
}

impl AtmelTable {
    pub(super) fn decode(query: &Query, at: u16) -> Result<Self, CfiError> {
        let version = version(query, at)?;
        let byte = |offset: u16, what| query.byte(at.saturating_add(offset), what);
        Ok(Self {
            version,
            features: byte(5, "the feature bits")?,
            says_bottom: byte(6, "the boot byte")? & 1 != 0,
            burst: byte(7, "the burst mode")?,
            page: byte(8, "the page mode")?,
        })
    }

    /// True if an erase can be suspended.
    pub const fn erase_suspend(&self) -> bool {
        self.features & 2 != 0
    }
}
