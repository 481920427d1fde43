//! The older JEDEC command set: unlock 5555/2AAA, sectors of 4 KiB, blocks, no error bit.
//!
//! Datasheets S71147 table 4 (`SST39SF`) and `DS25085A` table 9: program, sector 30, block 50, chip 10,
//! codes 90, CFI 98 after the unlock cycles where the part has it, exit F0 alone or unlocked. DQ7 and
//! DQ6 only; the chip waits its time and does not compare. Erase suspend is not modelled.

use super::books::ChipViolation;
use super::core::Core;
use super::family::{ChipState, CommandSet};
use super::work::{Erasing, Programming, Progress};
use crate::bus::Nanos;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Array,
    Codes,
    Query,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    Idle,
    Unlocked1,
    Unlocked2,
    Program,
    Erase,
    EraseUnlocked1,
    EraseUnlocked2,
}

#[derive(Debug)]
enum Work {
    None,
    Program(Programming, u16),
    Erase(Erasing),
}

#[derive(Debug)]
pub(super) struct Jedec {
    mode: Mode,
    step: Step,
    work: Work,
    dq6: bool,
}

impl Jedec {
    pub(super) fn new() -> Self {
        Self { mode: Mode::Array, step: Step::Idle, work: Work::None, dq6: false }
    }

    fn program(&mut self, core: &mut Core, now: Nanos, at: u32, data: u16) {
        let sector = core.cells.sector_of(at);
        if core.locked[sector] {
            return core.violation(now, ChipViolation::Protected(sector));
        }
        let time = core.kind.program;
        let work = Programming::new(core, now, vec![(at, data)], time, false);
        self.work = Work::Program(work, data);
    }

    fn erase(&mut self, core: &mut Core, now: Nanos, at: u32, byte: u16) -> bool {
        let hit = core.cells.sector_of(at);
        let all = core.locked.len();
        let per_block = (core.kind.block / (core.kind.size / all as u32)).max(1) as usize;
        let (sectors, time) = match byte {
            0x30 => (hit..hit + 1, core.kind.erase),
            0x50 if core.kind.block > 0 => {
                let first = hit / per_block * per_block;
                (first..first + per_block, core.kind.erase)
            }
            0x10 if core.is_unlock(0, at) => (0..all, core.kind.chip_erase),
            _ => return false,
        };
        let count = sectors.len();
        let (locked, free): (Vec<usize>, _) = sectors.partition(|sector| core.locked[*sector]);
        if let Some(sector) = locked.first() {
            core.violation(now, ChipViolation::Protected(*sector));
        }
        if !free.is_empty() {
            self.work = Work::Erase(Erasing::together(now, free, time, count, false));
        }
        true
    }

    fn unlocked(&mut self, core: &mut Core, at: u32, byte: u16) -> bool {
        if !core.is_unlock(0, at) {
            return false;
        }
        match byte {
            0xA0 if self.mode == Mode::Array => self.step = Step::Program,
            0x80 if self.mode == Mode::Array => self.step = Step::Erase,
            0x90 => self.mode = Mode::Codes,
            0x98 if !core.kind.cfi.is_empty() => self.mode = Mode::Query,
            0xF0 => self.mode = Mode::Array,
            _ => return false,
        }
        true
    }
}

impl CommandSet for Jedec {
    fn power_up(&mut self, _: &mut Core) {
        *self = Self::new();
    }

    fn cut(&mut self, core: &mut Core) -> bool {
        match std::mem::replace(&mut self.work, Work::None) {
            Work::None => return false,
            Work::Program(work, _) => work.cut(core),
            Work::Erase(work) => work.cut(core),
        }
        true
    }

    fn settle(&mut self, core: &mut Core, now: Nanos) {
        let progress = match &mut self.work {
            Work::None => return,
            Work::Program(work, _) => work.settle(core, now),
            Work::Erase(work) => work.settle(core, now),
        };
        if progress != Progress::Running {
            self.work = Work::None;
        }
    }

    fn read(&mut self, core: &mut Core, _: Nanos, at: u32) -> u16 {
        let dq7 = match &self.work {
            Work::None => {
                return match self.mode {
                    Mode::Array => core.read(at),
                    Mode::Codes => core.code(core.table_address(at) & 0xFF),
                    Mode::Query => core.query(core.table_address(at) & 0xFF),
                };
            }
            Work::Program(_, data) => !data & 0x80,
            Work::Erase(_) => 0,
        };
        self.dq6 = !self.dq6;
        let dq6 = if self.dq6 { 0x40 } else { 0 };
        (dq7 | dq6 | (core.rng.u16(..) & !0xC0)) & core.cells.ones()
    }

    fn write(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        if !matches!(self.work, Work::None) {
            return core.violation(now, ChipViolation::Busy(at, value));
        }
        let byte = value & 0xFF;
        let first = byte == 0xAA && core.is_unlock(0, at);
        let second = byte == 0x55 && core.is_unlock(1, at);
        let good = match std::mem::replace(&mut self.step, Step::Idle) {
            Step::Program => {
                self.program(core, now, at, value);
                true
            }
            Step::EraseUnlocked2 => self.erase(core, now, at, byte),
            Step::Unlocked2 => self.unlocked(core, at, byte),
            Step::Idle if byte == 0xF0 => {
                self.mode = Mode::Array;
                true
            }
            step => {
                let next = match step {
                    Step::Idle if first => Step::Unlocked1,
                    Step::Unlocked1 if second => Step::Unlocked2,
                    Step::Erase if first => Step::EraseUnlocked1,
                    Step::EraseUnlocked1 if second => Step::EraseUnlocked2,
                    _ => Step::Idle,
                };
                self.step = next;
                next != Step::Idle
            }
        };
        if !good {
            core.violation(now, ChipViolation::Unknown(at, value));
        }
    }

    fn state(&self) -> ChipState {
        match (&self.work, self.step, self.mode) {
            (Work::None, Step::Idle, Mode::Array) => ChipState::Array,
            (Work::None, Step::Idle, Mode::Codes) => ChipState::Codes,
            (Work::None, Step::Idle, Mode::Query) => ChipState::Query,
            (Work::None, ..) => ChipState::Sequence,
            _ => ChipState::Busy,
        }
    }
}
