//! What a command set is to its chip.

use super::core::Core;
use crate::bus::Nanos;
use std::fmt;

/// What a chip is doing or has been left in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChipState {
    /// Reads give its contents.
    Array,
    /// Reads give codes.
    Codes,
    /// Reads give CFI bytes.
    Query,
    /// Reads give the status register.
    Status,
    /// In the middle of a command sequence.
    Sequence,
    /// In the unlock bypass: contents are read, two-cycle programs are taken.
    Bypass,
    /// Programming or erasing.
    Busy,
    /// An erase or program is suspended.
    Suspended,
    /// It gave up and waits for its reset command.
    Failed,
    /// Its write buffer was aborted.
    Aborted,
}

impl fmt::Display for ChipState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Array => "reading its contents",
            Self::Codes => "showing its codes",
            Self::Query => "showing its CFI bytes",
            Self::Status => "showing its status",
            Self::Sequence => "in the middle of a command",
            Self::Bypass => "in the unlock bypass",
            Self::Busy => "busy",
            Self::Suspended => "suspended",
            Self::Failed => "waiting for a reset after a failure",
            Self::Aborted => "waiting for a reset of its write buffer",
        })
    }
}

/// A command set: what writes do and what reads show. Every call is at a time not before the last.
pub(super) trait CommandSet: fmt::Debug + Send {
    /// The supply has come: the state after power-up.
    fn power_up(&mut self, core: &mut Core);

    /// The supply goes in whatever it is doing; true if it was programming or erasing.
    fn cut(&mut self, core: &mut Core) -> bool;

    /// Does what is done by `now`.
    fn settle(&mut self, core: &mut Core, now: Nanos);

    /// One read cycle.
    fn read(&mut self, core: &mut Core, now: Nanos, at: u32) -> u16;

    /// One write cycle.
    fn write(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16);

    /// What it is doing.
    fn state(&self) -> ChipState;
}
