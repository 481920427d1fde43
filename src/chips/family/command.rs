//! A command: cycles whose addresses and data depend on part, bus and job.

use super::{BusMode, Unlock};

/// What a command is for. Protection registers, lock-down, passwords and everything else that
/// cannot be taken back, or needs a high voltage, is left out on purpose: it is never sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Action {
    /// Back to reading the array, from any state but a running operation.
    Reset,
    /// Show maker and device id.
    ReadIds,
    /// Show the query table.
    ReadQuery,
    /// Show the status register.
    ReadStatus,
    /// Clear the status register.
    ClearStatus,
    /// Program one byte or word.
    Program,
    /// What comes before the data of a page.
    PageStart,
    /// What comes before the data of a write buffer.
    BufferStart,
    /// What comes after the data of a write buffer.
    BufferConfirm,
    /// Leave an aborted write buffer.
    BufferAbort,
    /// Erase one sector, the smallest unit.
    EraseSector,
    /// Erase one block, a coarser unit over the same bytes.
    EraseBlock,
    /// Erase everything.
    EraseChip,
    /// Interrupt an erase.
    Suspend,
    /// Go on with it.
    Resume,
    /// Clear lock bits: of one sector, or of all, as the part has it.
    UnlockSector,
    /// Set the lock bit of one sector.
    LockSector,
    /// Enter the unlock bypass.
    BypassStart,
    /// Program one byte or word in the unlock bypass.
    BypassProgram,
    /// Leave the unlock bypass.
    BypassEnd,
    /// Switch the software protection of a page-write part off.
    Unprotect,
}

/// Where a cycle goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// The first unlock address.
    First,
    /// The second unlock address.
    Second,
    /// Any address of the chip; 0 is taken.
    Anywhere,
    /// An address given for word mode, doubled in byte mode.
    Word(u32),
    /// The address that the command is for: of the word, or any in the sector.
    Target,
}

/// What a cycle writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Put {
    /// A command code.
    Code(u8),
    /// The value that the command is for: data, or a count less one.
    Value,
}

/// One write cycle of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cycle {
    /// Where it goes.
    pub at: At,
    /// What it writes.
    pub put: Put,
}

/// A command as its write cycles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Command {
    /// The cycles, first one first.
    pub cycles: &'static [Cycle],
    /// The datasheet they are from, or "from memory".
    pub source: &'static str,
}

impl Command {
    /// The writes as chip address and data, for a part with `unlock` in `mode`, for the chip
    /// address `target` and `value`. `None` if the part's unlock addresses are needed and not
    /// known. The upper data lines do not matter in commands (datasheet Am29LV160D table 9), so
    /// codes leave them 0.
    pub fn writes(
        &self,
        unlock: Unlock,
        mode: BusMode,
        target: u32,
        value: u16,
    ) -> Option<Vec<(u32, u16)>> {
        let one = |cycle: &Cycle| {
            let address = match cycle.at {
                At::First => unlock.addresses(mode)?[0],
                At::Second => unlock.addresses(mode)?[1],
                At::Anywhere => 0,
                At::Word(word) => mode.scaled(word),
                At::Target => target,
            };
            let data = match cycle.put {
                Put::Code(code) => u16::from(code),
                Put::Value => value,
            };
            Some((address, data))
        };
        self.cycles.iter().map(one).collect()
    }
}

/// A cycle that writes a code.
pub(super) const fn code(at: At, code: u8) -> Cycle {
    Cycle { at, put: Put::Code(code) }
}

/// A cycle that writes the value at the target.
pub(super) const VALUE: Cycle = Cycle { at: At::Target, put: Put::Value };

/// The first unlock cycle.
pub(super) const UNLOCK_1: Cycle = code(At::First, 0xAA);

/// The second unlock cycle.
pub(super) const UNLOCK_2: Cycle = code(At::Second, 0x55);
