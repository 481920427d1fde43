//! Command sequences of the AMD type.

use super::{Amd, Mode, Step, Work};
use crate::bus::Nanos;
use crate::sim::chips::books::ChipViolation;
use crate::sim::chips::core::Core;

impl Amd {
    /// A write while no operation runs.
    pub(super) fn command(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        // DQ15 to DQ8 do not count in commands.
        let byte = value & 0xFF;
        match std::mem::replace(&mut self.step, Step::Idle) {
            Step::Idle if self.bypass => self.first_in_bypass(core, now, at, value),
            Step::Idle => self.first(core, now, at, value),
            Step::Program => self.program(core, now, at, value),
            Step::BypassReset => self.leave_bypass(core, now, at, value),
            Step::BufferCount { sector } => self.buffer_count(core, now, (at, value), sector),
            Step::BufferLoad { sector, left, words } => {
                self.buffer_load(core, now, (at, value), sector, left, words);
            }
            Step::BufferFull { sector, words } => {
                self.buffer_confirm(core, now, (at, value), sector, words);
            }
            // Reset ends a sequence that has not gone further than its unlock cycles.
            _ if byte == 0xF0 => self.reset(),
            Step::Unlocked1 => {
                let good = byte == 0x55 && core.is_unlock(1, at);
                self.go_to(core, now, at, value, good.then_some(Step::Unlocked2));
            }
            Step::Unlocked2 => self.unlocked(core, now, at, value),
            Step::Erase => {
                let good = byte == 0xAA && core.is_unlock(0, at);
                self.go_to(core, now, at, value, good.then_some(Step::EraseUnlocked1));
            }
            Step::EraseUnlocked1 => {
                let good = byte == 0x55 && core.is_unlock(1, at);
                self.go_to(core, now, at, value, good.then_some(Step::EraseUnlocked2));
            }
            Step::EraseUnlocked2 => match byte {
                0x10 if core.is_unlock(0, at) => self.erase_chip(core, now, at, value),
                0x30 => self.erase_sector(core, now, at, value),
                _ => self.out_of_sequence(core, now, at, value),
            },
        }
    }

    fn go_to(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16, step: Option<Step>) {
        match step {
            Some(step) => self.step = step,
            None => self.out_of_sequence(core, now, at, value),
        }
    }

    fn reset(&mut self) {
        self.mode = match self.mode {
            Mode::Query { from_codes: true } => Mode::Codes,
            _ => Mode::Array,
        };
    }

    fn first(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        match value & 0xFF {
            0xF0 => self.reset(),
            0xAA if core.is_unlock(0, at) => self.step = Step::Unlocked1,
            0x98 if core.table_address(at) & 0xFF == 0x55 && !core.kind.cfi.is_empty() => {
                self.mode = Mode::Query { from_codes: self.mode == Mode::Codes };
            }
            0x30 if self.suspended.is_some() => self.resume(now),
            _ => self.out_of_sequence(core, now, at, value),
        }
    }

    fn first_in_bypass(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        match value & 0xFF {
            0xA0 => self.step = Step::Program,
            0x90 => self.step = Step::BypassReset,
            0x25 if core.kind.buffer > 0 => self.buffer_begin(core, at),
            _ => core.violation(now, ChipViolation::Unknown(at, value)),
        }
    }

    /// The second cycle of the bypass reset: 00; some datasheets print F0.
    fn leave_bypass(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        if matches!(value & 0xFF, 0x00 | 0xF0) {
            self.bypass = false;
        } else {
            core.violation(now, ChipViolation::Unknown(at, value));
        }
    }

    fn unlocked(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let byte = value & 0xFF;
        let from_array = self.mode == Mode::Array;
        if byte == 0x25 && core.kind.buffer > 0 && from_array {
            return self.buffer_begin(core, at);
        }
        if !core.is_unlock(0, at) {
            return self.out_of_sequence(core, now, at, value);
        }
        match byte {
            0x90 => self.mode = Mode::Codes,
            0xA0 if from_array => self.step = Step::Program,
            // No erase while another is suspended.
            0x80 if from_array && self.suspended.is_none() => self.step = Step::Erase,
            0x20 if from_array && core.kind.bypass => self.bypass = true,
            _ => self.out_of_sequence(core, now, at, value),
        }
    }

    /// A write while an operation runs, or after one that failed.
    pub(super) fn command_while_busy(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let byte = value & 0xFF;
        let sector = core.cells.sector_of(at);
        if byte == 0xB0 && matches!(self.work, Work::Window { .. }) {
            return self.suspend_window(core, now);
        }
        match &mut self.work {
            Work::Window { work, until } if byte == 0x30 => {
                work.add(sector);
                *until = now + super::ERASE_WINDOW;
            }
            // Anything else resets it before a cell has changed.
            Work::Window { .. } => {
                self.work = Work::None;
                self.out_of_sequence(core, now, at, value);
            }
            Work::Erase { chip: false, suspends: suspends @ None, .. } if byte == 0xB0 => {
                *suspends = Some(now + core.takes(core.kind.suspend));
            }
            Work::Failed { .. } if byte == 0xF0 => {
                self.work = Work::None;
                self.reset();
            }
            Work::Aborted { .. } if byte == 0xF0 && self.bypass => self.work = Work::None,
            Work::Aborted { reset, .. } => {
                *reset = match (*reset, byte) {
                    (_, 0xAA) if core.is_unlock(0, at) => 1,
                    (1, 0x55) if core.is_unlock(1, at) => 2,
                    (2, 0xF0) if core.is_unlock(0, at) => 3,
                    _ => 0,
                };
                match *reset {
                    0 => core.violation(now, ChipViolation::Unknown(at, value)),
                    3 => self.work = Work::None,
                    _ => {}
                }
            }
            _ => core.violation(now, ChipViolation::Busy(at, value)),
        }
    }
}
