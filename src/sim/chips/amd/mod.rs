//! The AMD and Fujitsu command set.
//!
//! Commands and status after the datasheets of `Am29LV160D` (table 9), `Am29F016D` (table 9) and
//! `Am29LV004` (table 5); write buffer after `S29GL-M` p. 105 and `S29GL-A` p. 46.

mod commands;
mod operations;
mod status;

use super::books::ChipViolation;
use super::core::Core;
use super::family::{ChipState, CommandSet};
use super::work::{Erasing, Programming};
use crate::bus::Nanos;

/// The time in which another sector can be added (datasheets agree).
const ERASE_WINDOW: Nanos = Nanos::from_micros(50);

/// What reads show while no operation runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Array,
    Codes,
    Query { from_codes: bool },
}

/// How far a command sequence is.
#[derive(Debug)]
enum Step {
    Idle,
    Unlocked1,
    Unlocked2,
    Program,
    BypassReset,
    Erase,
    EraseUnlocked1,
    EraseUnlocked2,
    BufferCount { sector: usize },
    BufferLoad { sector: usize, left: u32, words: Vec<(u32, u16)> },
    BufferFull { sector: usize, words: Vec<(u32, u16)> },
}

/// The operation in hand.
#[derive(Debug)]
enum Work {
    None,
    Program {
        work: Programming,
        last: u16,
    },
    Window {
        work: Erasing,
        until: Nanos,
    },
    Erase {
        work: Erasing,
        chip: bool,
        suspends: Option<Nanos>,
    },
    /// All that was asked for is protected: busy for a short time, nothing changes.
    Refused {
        until: Nanos,
        erase: bool,
        last: u16,
    },
    Failed {
        erase: Option<Erasing>,
        last: u16,
    },
    Aborted {
        last: u16,
        reset: u8,
    },
}

#[derive(Debug)]
pub(super) struct Amd {
    mode: Mode,
    step: Step,
    bypass: bool,
    work: Work,
    suspended: Option<Erasing>,
    dq6: bool,
    dq2: bool,
}

impl Amd {
    pub(super) fn new() -> Self {
        Self {
            mode: Mode::Array,
            step: Step::Idle,
            bypass: false,
            work: Work::None,
            suspended: None,
            dq6: false,
            dq2: false,
        }
    }
}

impl CommandSet for Amd {
    fn power_up(&mut self, _: &mut Core) {
        *self = Self::new();
    }

    fn cut(&mut self, core: &mut Core) -> bool {
        let suspended = self.suspended.take();
        let erasing = match std::mem::replace(&mut self.work, Work::None) {
            Work::Program { work, .. } => {
                work.cut(core);
                if let Some(suspended) = suspended {
                    suspended.cut(core);
                }
                return true;
            }
            Work::Erase { work, .. } => Some(work),
            _ => suspended,
        };
        if let Some(work) = &erasing {
            work.cut(core);
        }
        erasing.is_some()
    }

    fn settle(&mut self, core: &mut Core, now: Nanos) {
        self.go_on(core, now);
    }

    fn read(&mut self, core: &mut Core, _: Nanos, at: u32) -> u16 {
        if let Some(status) = self.status(core, at) {
            return status;
        }
        let offset = core.table_address(at) & 0xFF;
        match self.mode {
            Mode::Array => core.read(at),
            // Sector protect verify: 00 unprotected, 01 protected (Am29LV160D table 9).
            Mode::Codes if offset & 0x0F == 2 => u16::from(core.locked[core.cells.sector_of(at)]),
            Mode::Codes => core.code(offset),
            Mode::Query { .. } => core.query(offset),
        }
    }

    fn write(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        match self.work {
            Work::None => self.command(core, now, at, value),
            _ => self.command_while_busy(core, now, at, value),
        }
    }

    fn state(&self) -> ChipState {
        match (&self.work, &self.step, self.mode) {
            (Work::Failed { .. }, ..) => ChipState::Failed,
            (Work::Aborted { .. }, ..) => ChipState::Aborted,
            (Work::None, Step::Idle, mode) => match mode {
                Mode::Codes => ChipState::Codes,
                Mode::Query { .. } => ChipState::Query,
                Mode::Array if self.suspended.is_some() => ChipState::Suspended,
                Mode::Array if self.bypass => ChipState::Bypass,
                Mode::Array => ChipState::Array,
            },
            (Work::None, ..) => ChipState::Sequence,
            _ => ChipState::Busy,
        }
    }
}

impl Amd {
    /// A write that fits nowhere: back to reading the array.
    fn out_of_sequence(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        core.violation(now, ChipViolation::Unknown(at, value));
        self.step = Step::Idle;
        self.mode = Mode::Array;
    }
}
