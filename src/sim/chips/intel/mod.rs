//! The Intel and Sharp command set.
//!
//! Commands after the datasheets of `28F400BL` (tables 4, 5), `28F320W30` (table 4), B3 p. 11 and J3A
//! p. 22; status register after `28F008SA` and C3 figure 16; lock status at block base + 2 after C3.

mod commands;
mod operations;

use super::books::ChipViolation;
use super::core::Core;
use super::family::{ChipState, CommandSet};
use super::kind::Locks;
use super::work::{Erasing, Programming};
use crate::bus::Nanos;

const READY: u16 = 0x80;
const ERASE_SUSPENDED: u16 = 0x40;
const ERASE_ERROR: u16 = 0x20;
const PROGRAM_ERROR: u16 = 0x10;
const VPP_LOW: u16 = 0x08;
const PROGRAM_SUSPENDED: u16 = 0x04;
const LOCKED: u16 = 0x02;
/// Both error bits: the command sequence was wrong.
const SEQUENCE_ERROR: u16 = ERASE_ERROR | PROGRAM_ERROR;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Array,
    Codes,
    Query,
    Status,
    /// The extended status after E8: bit 7 says that the buffer is free (from memory).
    Buffer,
}

#[derive(Debug)]
enum Step {
    Idle,
    Erase,
    Program,
    Lock,
    /// C0: its second cycle is not obeyed, nothing one-time-programmable is modelled.
    Protection,
    BufferCount {
        sector: usize,
    },
    BufferLoad {
        sector: usize,
        count: u32,
        words: Vec<(u32, u16)>,
    },
    BufferFull {
        sector: usize,
        words: Vec<(u32, u16)>,
    },
}

#[derive(Debug)]
enum Work {
    None,
    Program {
        work: Programming,
        suspends: Option<Nanos>,
    },
    Erase {
        work: Erasing,
        suspends: Option<Nanos>,
    },
    /// A lock bit is set, or all are cleared.
    Locks {
        until: Nanos,
        set: Option<usize>,
    },
}

#[derive(Debug)]
pub(super) struct Intel {
    mode: Mode,
    step: Step,
    work: Work,
    /// Error bits; they stay until cleared.
    errors: u16,
    suspended_erase: Option<Erasing>,
    suspended_program: Option<Programming>,
    /// Blocks whose lock cannot be opened before the next power-up.
    down: Vec<bool>,
}

impl Intel {
    pub(super) fn new() -> Self {
        Self {
            mode: Mode::Array,
            step: Step::Idle,
            work: Work::None,
            errors: 0,
            suspended_erase: None,
            suspended_program: None,
            down: Vec::new(),
        }
    }

    fn status(&self) -> u16 {
        let mut status = self.errors;
        if matches!(self.work, Work::None) {
            status |= READY;
        }
        if self.suspended_erase.is_some() {
            status |= ERASE_SUSPENDED;
        }
        if self.suspended_program.is_some() {
            status |= PROGRAM_SUSPENDED;
        }
        status
    }

    fn is_down(&self, sector: usize) -> bool {
        self.down.get(sector).copied().unwrap_or(false)
    }

    fn codes(&self, core: &Core, at: u32) -> u16 {
        let offset = core.table_address(at) & 0xFF;
        if offset != 2 {
            return core.code(offset);
        }
        let sector = core.cells.sector_of(at);
        u16::from(core.locked[sector]) | u16::from(self.is_down(sector)) << 1
    }
}

impl CommandSet for Intel {
    fn power_up(&mut self, core: &mut Core) {
        *self = Self::new();
        if core.kind.locks == Locks::AtPowerUp {
            core.locked.fill(true);
        }
    }

    fn cut(&mut self, core: &mut Core) -> bool {
        let work = std::mem::replace(&mut self.work, Work::None);
        let mut cut = !matches!(work, Work::None);
        match work {
            Work::Program { work, .. } => work.cut(core),
            Work::Erase { work, .. } => work.cut(core),
            Work::None | Work::Locks { .. } => {}
        }
        if let Some(work) = self.suspended_program.take() {
            work.cut(core);
            cut = true;
        }
        if let Some(work) = self.suspended_erase.take() {
            work.cut(core);
            cut = true;
        }
        cut
    }

    fn settle(&mut self, core: &mut Core, now: Nanos) {
        self.go_on(core, now);
    }

    fn read(&mut self, core: &mut Core, now: Nanos, at: u32) -> u16 {
        if !matches!(self.work, Work::None) {
            return if self.mode == Mode::Buffer { 0 } else { self.status() };
        }
        match self.mode {
            Mode::Array => {
                let sector = core.cells.sector_of(at);
                if self.suspended_erase.as_ref().is_some_and(|work| work.has(sector)) {
                    core.violation(now, ChipViolation::Suspended(at));
                    return core.rng.u16(..) & core.cells.ones();
                }
                core.read(at)
            }
            Mode::Codes => self.codes(core, at),
            Mode::Query => core.query(core.table_address(at) & 0xFF),
            Mode::Status => self.status(),
            Mode::Buffer => READY,
        }
    }

    fn write(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        match self.work {
            Work::None => self.command(core, now, at, value),
            _ => self.command_while_busy(core, now, at, value),
        }
    }

    fn state(&self) -> ChipState {
        let suspended = self.suspended_erase.is_some() || self.suspended_program.is_some();
        match (&self.work, &self.step, self.mode) {
            (Work::None, Step::Idle, mode) => match mode {
                Mode::Codes => ChipState::Codes,
                Mode::Query => ChipState::Query,
                Mode::Status | Mode::Buffer => ChipState::Status,
                Mode::Array if suspended => ChipState::Suspended,
                Mode::Array => ChipState::Array,
            },
            (Work::None, ..) => ChipState::Sequence,
            _ => ChipState::Busy,
        }
    }
}
