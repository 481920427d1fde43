//! The extended table of AMD/Fujitsu command sets (datasheets S29GLxxxM table 30, S29VS-R table
//! 44; the order of fields also in Linux `include/linux/mtd/cfi.h`).

use super::primary::{Version, version};
use super::volts::{Volts, hexadecimal};
use super::{CfiError, Query};

/// What else a chip can do while it erases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EraseSuspend {
    /// Nothing.
    None,
    /// Reading other sectors.
    Read,
    /// Reading and programming other sectors.
    ReadWrite,
}

/// The extended table of AMD/Fujitsu command sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AmdTable {
    /// Its version.
    pub version: Version,
    /// True if unlock cycles must go to their addresses (+5, bits 0-1).
    pub unlock_addressed: bool,
    /// Process or silicon revision (+5, bits 2-7).
    pub silicon: u8,
    /// What an interrupted erase allows (+6).
    pub erase_suspend: EraseSuspend,
    /// Sectors that are protected together; 0 for no protection (+7).
    pub protect_group: u8,
    /// True if protection can be lifted for a time. One sector group of this is printed 00 and
    /// recorded 01 for one part (S29GL064M), so nothing may depend on it (+8).
    pub temporary_unprotect: bool,
    /// Number of the protection scheme: 04 standard, 08 advanced, 09 single lock and range (+9).
    pub protect_scheme: u8,
    /// Sectors in the other banks, for parts that read while they write (+A).
    pub other_bank_sectors: u8,
    /// True if bursts are possible (+B).
    pub burst: bool,
    /// Words of a page read; `None` for no page reads or a number not known (+C).
    pub page_words: Option<u8>,
    /// The ACC supply, from version 1.1 on (+D, +E).
    pub acc: Option<Volts>,
    /// The boot flag, from version 1.1 on, if it was read (+F).
    pub boot_flag: Option<u8>,
    /// True if a program can be suspended; from version 1.3 on, if it was read (+10).
    pub program_suspend: Option<bool>,
}

impl AmdTable {
    pub(super) fn decode(query: &Query, at: u16) -> Result<Self, CfiError> {
        let version = version(query, at)?;
        let byte = |offset: u16, what| query.byte(at.saturating_add(offset), what);
        let wrong = |offset: u16, what, expected, got: u8| CfiError::Value {
            offset: at.saturating_add(offset),
            what,
            expected,
            got: u32::from(got),
        };
        let unlock = byte(5, "the unlock byte")?;
        let erase_suspend = match byte(6, "erase suspend")? {
            0 => EraseSuspend::None,
            1 => EraseSuspend::Read,
            2 => EraseSuspend::ReadWrite,
            other => return Err(wrong(6, "erase suspend", "00 to 02", other)),
        };
        let optional = |offset, minor| {
            let byte = byte(offset, "an optional byte").ok();
            byte.filter(|_| version.minor >= minor)
        };
        let acc =
            optional(0xD, 1).and_then(hexadecimal).zip(optional(0xE, 1).and_then(hexadecimal));
        let acc = acc.filter(|(least, most)| least.0 > 0 && least <= most);
        Ok(Self {
            version,
            unlock_addressed: match unlock & 3 {
                0 => true,
                1 => false,
                _ => return Err(wrong(5, "the unlock byte", "00 or 01 in bits 0 and 1", unlock)),
            },
            silicon: unlock >> 2,
            erase_suspend,
            protect_group: byte(7, "the protection group")?,
            temporary_unprotect: byte(8, "temporary unprotect")? != 0,
            protect_scheme: byte(9, "the protection scheme")?,
            other_bank_sectors: byte(0xA, "the sectors of other banks")?,
            burst: byte(0xB, "the burst mode")? != 0,
            page_words: match byte(0xC, "the page mode")? {
                1 => Some(4),
                2 => Some(8),
                // S29VS-R prints 04 for 16 words, others 03.
                3 | 4 => Some(16),
                _ => None,
            },
            acc: acc.map(|(least, most)| Volts { least, most }),
            boot_flag: optional(0xF, 1),
            program_suspend: optional(0x10, 3).map(|byte| byte != 0),
        })
    }
}
