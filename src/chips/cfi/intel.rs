//! The extended table of Intel/Sharp command sets (datasheets 28F128J3A table 12, 28F640C3 table
//! 19, 28F320S5 table 11, J3 65 nm tables 35 and 36).

use super::primary::{Version, version};
use super::volts::{decimal, hexadecimal};
use super::{CfiError, Query};
use crate::bus::Millivolts;

/// One-time-programmable protection registers. They are only described, never written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ProtectionField {
    /// Number of fields.
    pub fields: u8,
    /// Address of the lock word.
    pub lock_address: u16,
    /// 2^n bytes programmed by the maker: n.
    pub factory_exponent: u8,
    /// 2^n bytes for users: n.
    pub user_exponent: u8,
}

/// The extended table of Intel/Sharp command sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IntelTable {
    /// Its version.
    pub version: Version,
    /// Feature bits (+5 to +8).
    pub features: u32,
    /// True if another sector can be programmed while an erase is suspended (+9).
    pub program_while_suspended: bool,
    /// The bits that a block status word has (+A, +B).
    pub block_status_mask: u16,
    /// The best VCC (+C).
    pub vcc_best: Option<Millivolts>,
    /// The best VPP; `None` if the part needs none (+D).
    pub vpp_best: Option<Millivolts>,
    /// Protection registers, if the table has them and they were read (+E to +12).
    pub protection: Option<ProtectionField>,
}

impl IntelTable {
    /// Feature bit 1: an erase can be suspended.
    pub const ERASE_SUSPEND: u32 = 1 << 1;
    /// Feature bit 2: a program can be suspended.
    pub const PROGRAM_SUSPEND: u32 = 1 << 2;
    /// Feature bit 3: sectors can be locked, all unlocked together.
    pub const LEGACY_LOCK: u32 = 1 << 3;
    /// Feature bit 5: each sector can be locked and unlocked at once; such parts wake up locked.
    pub const INSTANT_LOCK: u32 = 1 << 5;

    pub(super) fn decode(query: &Query, at: u16) -> Result<Self, CfiError> {
        let version = version(query, at)?;
        let byte = |offset: u16, what| query.byte(at.saturating_add(offset), what);
        let pair = |offset: u16, what| query.pair(at.saturating_add(offset), what);
        let low = u32::from(pair(5, "the feature bits")?);
        let features = low | u32::from(pair(7, "the feature bits")?) << 16;
        Ok(Self {
            version,
            features,
            program_while_suspended: byte(9, "the suspended functions")? & 1 != 0,
            block_status_mask: pair(0xA, "the block status mask")?,
            vcc_best: decimal(byte(0xC, "the best VCC")?).filter(|volts| volts.0 > 0),
            vpp_best: hexadecimal(byte(0xD, "the best VPP")?).filter(|volts| volts.0 > 0),
            protection: Self::protection(query, at),
        })
    }

    fn protection(query: &Query, at: u16) -> Option<ProtectionField> {
        let byte = |offset: u16| query.byte(at.saturating_add(offset), "a protection byte").ok();
        let field = ProtectionField {
            fields: byte(0xE)?,
            lock_address: u16::from_le_bytes([byte(0xF)?, byte(0x10)?]),
            factory_exponent: byte(0x11)?,
            user_exponent: byte(0x12)?,
        };
        (field.fields > 0).then_some(field)
    }

    /// True if all of `bits` are set.
    pub const fn has(&self, bits: u32) -> bool {
        self.features & bits == bits
    }
}
