//! The command decoder of a part of the AMD family on 16 data lines.
//!
//! Datasheet of the part `Am29LV160D`, table 9: unlock AA at 555 and 55 at 2AA; A0 program, 80 erase and after a
//! second unlock 30 at the sector, 90 ids, 20 unlock bypass; F0 back to reading from anywhere but a
//! sequence's data. Query: 98 at 55 (datasheet ES29LV160F p21). The upper data lines do not matter
//! in commands. A chip erase, suspend and the write buffer are no part of what these tests do.

use super::cells::Cells;

const FIRST: u32 = 0x555;
const SECOND: u32 = 0x2AA;
const QUERY: u32 = 0x55;

/// What has been written of a command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Amd {
    /// Nothing.
    #[default]
    Reading,
    Unlock1,
    Unlocked,
    /// The next write is data.
    Program,
    Erase,
    EraseUnlock1,
    EraseUnlocked,
    Ids,
    Query,
    Bypass,
    BypassProgram,
    BypassEnd,
}

impl Amd {
    pub fn is_reading(self) -> bool {
        self == Self::Reading
    }

    pub fn write(&mut self, cells: &mut Cells, at: u32, value: u16) -> Result<(), String> {
        let code = value as u8;
        *self = match (*self, at, code) {
            (Self::Program, ..) => {
                cells.program(at, value)?;
                Self::Reading
            }
            (Self::BypassProgram, ..) => {
                cells.program(at, value)?;
                Self::Bypass
            }
            (Self::EraseUnlocked, _, 0x30) => {
                cells.erase(at)?;
                Self::Reading
            }
            (Self::Reading, FIRST, 0xAA) => Self::Unlock1,
            (Self::Unlock1, SECOND, 0x55) => Self::Unlocked,
            (Self::Unlocked, FIRST, 0xA0) => Self::Program,
            (Self::Unlocked, FIRST, 0x80) => Self::Erase,
            (Self::Unlocked, FIRST, 0x90) => Self::Ids,
            (Self::Unlocked, FIRST, 0x20) => Self::Bypass,
            (Self::Erase, FIRST, 0xAA) => Self::EraseUnlock1,
            (Self::EraseUnlock1, SECOND, 0x55) => Self::EraseUnlocked,
            (Self::Reading, QUERY, 0x98) => Self::Query,
            (Self::Bypass, _, 0xA0) if known(cells, at) => Self::BypassProgram,
            (Self::Bypass, _, 0x90) if known(cells, at) => Self::BypassEnd,
            // The unlock bypass knows no other way out than its own (table 9).
            (Self::BypassEnd, _, 0x00) | (Self::Reading | Self::Ids | Self::Query, _, 0xF0)
                if known(cells, at) =>
            {
                Self::Reading
            }
            (state, ..) => return Err(format!("no step of a command after {state:?}")),
        };
        Ok(())
    }
}

/// A code whose address does not matter goes to the first word, to an address of unlock cycles or
/// of a question, or into a sector that is changed.
fn known(cells: &Cells, at: u32) -> bool {
    [0, QUERY, SECOND, FIRST].contains(&at) || cells.may_change(at)
}
