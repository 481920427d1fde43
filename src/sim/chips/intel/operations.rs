//! Operations of the Intel type: program, write buffer, erase, suspend.

use super::{ERASE_ERROR, Intel, LOCKED, Mode, PROGRAM_ERROR, Step, VPP_LOW, Work};
use crate::bus::Nanos;
use crate::sim::chips::books::ChipViolation;
use crate::sim::chips::core::Core;
use crate::sim::chips::kind::ChipTime;
use crate::sim::chips::work::{Erasing, Programming, Progress};

impl Intel {
    pub(super) fn vpp_is_low(&mut self, core: &mut Core, now: Nanos, error: u16) -> bool {
        let low = core.faults.vpp_low;
        if low {
            core.violation(now, ChipViolation::VppLow);
            self.errors |= VPP_LOW | error;
        }
        low
    }

    fn is_locked(&mut self, core: &mut Core, now: Nanos, sector: usize, error: u16) -> bool {
        let locked = core.locked[sector];
        if locked {
            core.violation(now, ChipViolation::Protected(sector));
            self.errors |= LOCKED | error;
        }
        locked
    }

    pub(super) fn program(
        &mut self,
        core: &mut Core,
        now: Nanos,
        words: Vec<(u32, u16)>,
        time: ChipTime,
    ) {
        let Some(&(at, _)) = words.first() else { return };
        let sector = core.cells.sector_of(at);
        self.mode = Mode::Status;
        if self.vpp_is_low(core, now, PROGRAM_ERROR)
            || self.is_locked(core, now, sector, PROGRAM_ERROR)
        {
            return;
        }
        if self.suspended_erase.as_ref().is_some_and(|work| work.has(sector)) {
            core.violation(now, ChipViolation::Suspended(at));
            self.errors |= PROGRAM_ERROR;
            return;
        }
        let work = Programming::new(core, now, words, time, true);
        self.work = Work::Program { work, suspends: None };
    }

    pub(super) fn erase(&mut self, core: &mut Core, now: Nanos, at: u32) {
        let sector = core.cells.sector_of(at);
        self.mode = Mode::Status;
        if self.vpp_is_low(core, now, ERASE_ERROR) || self.is_locked(core, now, sector, ERASE_ERROR)
        {
            return;
        }
        let work = Erasing::new(now, vec![sector], core.kind.erase, true);
        self.work = Work::Erase { work, suspends: None };
    }

    pub(super) fn buffer_count(
        &mut self,
        core: &mut Core,
        now: Nanos,
        (at, value): (u32, u16),
        sector: usize,
    ) {
        let count = u32::from(value & 0xFF) + 1;
        if count > core.kind.buffer / u32::from(core.width / 8) {
            return self.sequence_error(core, now, at, value);
        }
        self.step = Step::BufferLoad { sector, count, words: Vec::new() };
        self.mode = Mode::Status;
    }

    pub(super) fn buffer_load(
        &mut self,
        core: &mut Core,
        now: Nanos,
        (at, value): (u32, u16),
        sector: usize,
        count: u32,
        mut words: Vec<(u32, u16)>,
    ) {
        let start = words.first().map_or(at, |(first, _)| *first);
        let aborts = core.faults.aborts_at.contains(&at);
        if aborts || at < start || at - start >= count || core.cells.sector_of(at) != sector {
            core.violation(now, ChipViolation::BufferAborted(at));
            self.errors |= super::SEQUENCE_ERROR;
            return;
        }
        words.push((at, value));
        self.step = if words.len() == count as usize {
            Step::BufferFull { sector, words }
        } else {
            Step::BufferLoad { sector, count, words }
        };
    }

    pub(super) fn buffer_confirm(
        &mut self,
        core: &mut Core,
        now: Nanos,
        (at, value): (u32, u16),
        sector: usize,
        words: Vec<(u32, u16)>,
    ) {
        if value & 0xFF == 0xD0 && core.cells.sector_of(at) == sector {
            let time = core.kind.buffered;
            return self.program(core, now, words, time);
        }
        self.sequence_error(core, now, at, value);
    }

    /// D0 while suspended: the program first, if both are.
    pub(super) fn resume(&mut self, now: Nanos) {
        self.mode = Mode::Status;
        if let Some(mut work) = self.suspended_program.take() {
            work.resume(now);
            self.work = Work::Program { work, suspends: None };
        } else if let Some(mut work) = self.suspended_erase.take() {
            work.resume(now);
            self.work = Work::Erase { work, suspends: None };
        }
    }

    /// Everything that has happened by `now`.
    pub(super) fn go_on(&mut self, core: &mut Core, now: Nanos) {
        let due = |suspends: Option<Nanos>| suspends.is_some_and(|at| at <= now);
        match std::mem::replace(&mut self.work, Work::None) {
            Work::None => {}
            Work::Program { mut work, suspends } => {
                let until = suspends.map_or(now, |at| at.min(now));
                match work.settle(core, until) {
                    Progress::Running if due(suspends) => {
                        work.suspend(until);
                        self.suspended_program = Some(work);
                    }
                    Progress::Running => self.work = Work::Program { work, suspends },
                    Progress::Done => {}
                    Progress::Exceeded => self.errors |= PROGRAM_ERROR,
                }
            }
            Work::Erase { mut work, suspends } => {
                let until = suspends.map_or(now, |at| at.min(now));
                match work.settle(core, until) {
                    Progress::Running if due(suspends) => {
                        work.suspend(until);
                        self.suspended_erase = Some(work);
                    }
                    Progress::Running => self.work = Work::Erase { work, suspends },
                    Progress::Done => {}
                    Progress::Exceeded => self.errors |= ERASE_ERROR,
                }
            }
            Work::Locks { until, set } if until <= now => match set {
                Some(sector) => core.locked[sector] = true,
                None => core.locked.fill(false),
            },
            other @ Work::Locks { .. } => self.work = other,
        }
    }
}
