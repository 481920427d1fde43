//! Commands of the Intel type.

use super::{Intel, Mode, SEQUENCE_ERROR, Step, Work};
use crate::bus::Nanos;
use crate::sim::chips::books::ChipViolation;
use crate::sim::chips::core::Core;
use crate::sim::chips::kind::Locks;

impl Intel {
    /// A write while nothing is programmed or erased.
    pub(super) fn command(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        // The upper byte does not count in commands.
        let byte = value & 0xFF;
        match std::mem::replace(&mut self.step, Step::Idle) {
            Step::Idle => self.first(core, now, at, value),
            Step::Erase if byte == 0xD0 => self.erase(core, now, at),
            Step::Program => self.program(core, now, vec![(at, value)], core.kind.program),
            Step::Lock => self.lock(core, now, at, value),
            Step::Protection => {
                core.violation(now, ChipViolation::Unknown(at, value));
                self.errors |= super::PROGRAM_ERROR | super::LOCKED;
            }
            Step::BufferCount { sector } => self.buffer_count(core, now, (at, value), sector),
            Step::BufferLoad { sector, count, words } => {
                self.buffer_load(core, now, (at, value), sector, count, words);
            }
            Step::BufferFull { sector, words } => {
                self.buffer_confirm(core, now, (at, value), sector, words);
            }
            Step::Erase => self.sequence_error(core, now, at, value),
        }
    }

    fn first(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let suspended = self.suspended_erase.is_some() || self.suspended_program.is_some();
        match value & 0xFF {
            0xFF => self.mode = Mode::Array,
            0x90 => self.mode = Mode::Codes,
            0x98 if !core.kind.cfi.is_empty() => self.mode = Mode::Query,
            0x70 => self.mode = Mode::Status,
            0x50 => self.errors = 0,
            0xD0 if suspended => self.resume(now),
            0x20 if !suspended => self.begin(Step::Erase),
            0x40 | 0x10 if self.suspended_program.is_none() => self.begin(Step::Program),
            0xE8 if core.kind.buffer > 0 && self.suspended_program.is_none() => {
                self.step = Step::BufferCount { sector: core.cells.sector_of(at) };
                self.mode = Mode::Buffer;
            }
            0x60 if core.kind.locks != Locks::None && !suspended => self.begin(Step::Lock),
            0xC0 => self.begin(Step::Protection),
            _ => core.violation(now, ChipViolation::Unknown(at, value)),
        }
    }

    /// After the first of two cycles reads give the status.
    fn begin(&mut self, step: Step) {
        self.step = step;
        self.mode = Mode::Status;
    }

    pub(super) fn sequence_error(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        core.violation(now, ChipViolation::Unknown(at, value));
        self.errors |= SEQUENCE_ERROR;
        self.mode = Mode::Status;
    }

    /// A write while it is busy: only status and suspend are taken.
    pub(super) fn command_while_busy(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let can_suspend_program = core.kind.program_suspend;
        let when = now + core.takes(core.kind.suspend);
        match (value & 0xFF, &mut self.work) {
            (0x70, _) => self.mode = Mode::Status,
            (0xB0, Work::Erase { suspends: suspends @ None, .. }) => *suspends = Some(when),
            (0xB0, Work::Program { suspends: suspends @ None, .. }) if can_suspend_program => {
                *suspends = Some(when);
            }
            _ => core.violation(now, ChipViolation::Busy(at, value)),
        }
    }

    fn lock(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let sector = core.cells.sector_of(at);
        let byte = value & 0xFF;
        if core.kind.locks == Locks::ClearAll {
            return self.lock_for_good(core, now, at, value);
        }
        self.down.resize(core.locked.len(), false);
        match byte {
            0x01 => core.locked[sector] = true,
            0xD0 if self.down[sector] => core.violation(now, ChipViolation::Protected(sector)),
            0xD0 => core.locked[sector] = false,
            // Lock-down: from memory, C3 datasheet, with its write-protect line low.
            0x2F => (core.locked[sector], self.down[sector]) = (true, true),
            _ => self.sequence_error(core, now, at, value),
        }
    }

    fn lock_for_good(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let (set, time, error) = match value & 0xFF {
            0x01 => (Some(core.cells.sector_of(at)), core.kind.lock, super::PROGRAM_ERROR),
            0xD0 => (None, core.kind.clear_locks, super::ERASE_ERROR),
            _ => return self.sequence_error(core, now, at, value),
        };
        if !self.vpp_is_low(core, now, error) {
            self.work = Work::Locks { until: now + core.takes(time), set };
        }
    }
}
