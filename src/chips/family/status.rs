//! How a chip tells that it is done.

use std::fmt;

/// How a chip tells that it is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Reads of the changed address show bits until it is done; a bit that a family does not
    /// have is 0.
    Polling {
        /// The complement of bit 7 while programming, 0 while erasing.
        data: u8,
        /// Toggles from read to read.
        toggle: u8,
        /// 1 when the limit is exceeded.
        exceeded: u8,
        /// 0 while further sectors are accepted for erasing.
        erase_started: u8,
        /// Toggles in a sector that is being erased or is suspended.
        erasing_here: u8,
        /// 1 after an abort of the write buffer.
        aborted: u8,
    },
    /// Reads show the status register.
    Register,
}

impl Status {
    /// AMD's bits (datasheets Am29F040B p16, Am29LV040B p18, Am29F400B p20, AM29DL400B p23).
    pub const AMD: Self = Self::Polling {
        data: 0x80,
        toggle: 0x40,
        exceeded: 0x20,
        erase_started: 0x08,
        erasing_here: 0x04,
        aborted: 0x02,
    };

    /// Data polling and toggle bit, nothing else (from memory).
    pub const TOGGLE_ONLY: Self = Self::Polling {
        data: 0x80,
        toggle: 0x40,
        exceeded: 0,
        erase_started: 0,
        erasing_here: 0,
        aborted: 0,
    };
}

/// The status register of an Intel-type chip (datasheets 28F008SA, 28F128J3A p22, 28F640C3
/// figure 16).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct StatusRegister(pub u8);

impl StatusRegister {
    /// True if no operation runs (SR.7).
    pub const fn is_ready(self) -> bool {
        self.0 & 0x80 != 0
    }

    /// True if an erase or a program is suspended (SR.6, SR.2).
    pub const fn is_suspended(self) -> bool {
        self.0 & 0x44 != 0
    }

    /// What went wrong; `None` if nothing did. The bits stay until they are cleared.
    pub const fn failure(self) -> Option<&'static str> {
        let (erase, program) = (self.0 & 0x20 != 0, self.0 & 0x10 != 0);
        Some(match (erase, program) {
            _ if self.0 & 0x02 != 0 => "the sector is locked",
            _ if self.0 & 0x08 != 0 => "VPP is too low or out of range",
            (true, true) => "the command sequence was wrong",
            (true, false) => "the erase failed",
            (false, true) => "the program failed",
            (false, false) => return None,
        })
    }
}

impl fmt::Display for StatusRegister {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "status {:02X}", self.0)?;
        if !self.is_ready() {
            return write!(f, ", busy");
        }
        self.failure().map_or(Ok(()), |failure| write!(f, ", {failure}"))
    }
}
