//! The books of a chip.

use crate::bus::Nanos;
use std::fmt;

/// Violations kept; the count goes on.
const KEPT: usize = 256;

/// Something that a datasheet does not allow, or that had no effect. Addresses are words of the
/// chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChipViolation {
    /// No command of this chip, or not at this point of a sequence: address, value.
    Unknown(u32, u16),
    /// A write while it was busy: address, value.
    Busy(u32, u16),
    /// A sector that is protected or locked.
    Protected(usize),
    /// A 1 programmed over a 0.
    OneOverZero(u32),
    /// A byte that came when the time for loading a page was over.
    LoadTooLate(u32),
    /// A byte of another page than the first.
    OtherPage(u32),
    /// A load of the write buffer that aborted it.
    BufferAborted(u32),
    /// A word of a sector whose erase is suspended.
    Suspended(u32),
    /// A write while a supervisor held the chip deselected.
    Deselected(u32),
    /// The programming voltage was too low.
    VppLow,
    /// The supply went while it was programming or erasing.
    SupplyCut,
}

impl fmt::Display for ChipViolation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown(at, value) => write!(f, "0x{value:X} at 0x{at:X} is no command here"),
            Self::Busy(at, value) => write!(f, "0x{value:X} at 0x{at:X} came while it was busy"),
            Self::Protected(sector) => write!(f, "sector {sector} is protected"),
            Self::OneOverZero(at) => write!(f, "a 1 was programmed over a 0 at 0x{at:X}"),
            Self::LoadTooLate(at) => write!(f, "the byte for 0x{at:X} came too late for its page"),
            Self::OtherPage(at) => write!(f, "0x{at:X} is not in the page that is being loaded"),
            Self::BufferAborted(at) => write!(f, "0x{at:X} aborted the write buffer"),
            Self::Suspended(at) => write!(f, "0x{at:X} is in a sector whose erase is suspended"),
            Self::Deselected(at) => write!(f, "a write at 0x{at:X} while it was held deselected"),
            Self::VppLow => f.write_str("the programming voltage was too low"),
            Self::SupplyCut => f.write_str("the supply went in the middle of an operation"),
        }
    }
}

/// What a chip has seen and done since it was made.
#[derive(Clone, Debug, Default)]
pub struct ChipBooks {
    /// Write cycles that reached it.
    pub writes: u64,
    /// Words programmed.
    pub programs: u64,
    /// Erases that ended, by sector.
    pub erases: Vec<u32>,
    /// What it could not accept, oldest first; the oldest of very many are dropped.
    pub violations: Vec<(Nanos, ChipViolation)>,
    /// How many there were.
    pub violation_count: u64,
}

impl ChipBooks {
    pub(super) fn violation(&mut self, at: Nanos, what: ChipViolation) {
        self.violation_count += 1;
        if self.violations.len() == KEPT {
            self.violations.remove(0);
        }
        self.violations.push((at, what));
    }
}
