//! Operations of the AMD type: program, write buffer, erase, suspend.

use super::{Amd, ERASE_WINDOW, Mode, Step, Work};
use crate::bus::Nanos;
use crate::sim::chips::books::ChipViolation;
use crate::sim::chips::core::Core;
use crate::sim::chips::kind::ChipTime;
use crate::sim::chips::work::{Erasing, Programming, Progress};

/// Busy for so long when the word to program is protected: from memory, `Am29LV160D` datasheet.
const REFUSED_PROGRAM: Nanos = Nanos::from_micros(1);
/// The same when every sector to erase is.
const REFUSED_ERASE: Nanos = Nanos::from_micros(100);

impl Amd {
    pub(super) fn program(&mut self, core: &mut Core, now: Nanos, at: u32, data: u16) {
        let time = core.kind.program;
        self.begin_program(core, now, vec![(at, data)], time);
    }

    fn begin_program(
        &mut self,
        core: &mut Core,
        now: Nanos,
        words: Vec<(u32, u16)>,
        time: ChipTime,
    ) {
        let Some(&(at, last)) = words.last() else { return };
        let sector = core.cells.sector_of(at);
        if self.suspended.as_ref().is_some_and(|work| work.has(sector)) {
            core.violation(now, ChipViolation::Suspended(at));
        } else if core.locked[sector] {
            core.violation(now, ChipViolation::Protected(sector));
            self.work = Work::Refused { until: now + REFUSED_PROGRAM, erase: false, last };
        } else {
            let work = Programming::new(core, now, words, time, true);
            self.work = Work::Program { work, last };
        }
    }

    pub(super) fn buffer_begin(&mut self, core: &Core, at: u32) {
        self.step = Step::BufferCount { sector: core.cells.sector_of(at) };
    }

    pub(super) fn buffer_count(
        &mut self,
        core: &mut Core,
        now: Nanos,
        (at, value): (u32, u16),
        sector: usize,
    ) {
        let left = u32::from(value & 0xFF) + 1;
        if left > buffer_words(core) || core.cells.sector_of(at) != sector {
            return self.abort(core, now, at, value);
        }
        self.step = Step::BufferLoad { sector, left, words: Vec::new() };
    }

    pub(super) fn buffer_load(
        &mut self,
        core: &mut Core,
        now: Nanos,
        (at, value): (u32, u16),
        sector: usize,
        left: u32,
        mut words: Vec<(u32, u16)>,
    ) {
        let page = |at: u32| at / buffer_words(core);
        let same = words.first().is_none_or(|(first, _)| page(*first) == page(at));
        let aborts = core.faults.aborts_at.contains(&at);
        if !same || aborts || core.cells.sector_of(at) != sector {
            return self.abort(core, now, at, value);
        }
        // A word that comes again counts again; the later one holds.
        words.retain(|(old, _)| *old != at);
        words.push((at, value));
        self.step = match left {
            1 => Step::BufferFull { sector, words },
            _ => Step::BufferLoad { sector, left: left - 1, words },
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
        if value & 0xFF == 0x29 && core.cells.sector_of(at) == sector {
            let time = core.kind.buffered;
            return self.begin_program(core, now, words, time);
        }
        let last = words.last().map_or(value, |(_, data)| *data);
        self.abort(core, now, at, last);
    }

    fn abort(&mut self, core: &mut Core, now: Nanos, at: u32, last: u16) {
        core.violation(now, ChipViolation::BufferAborted(at));
        self.work = Work::Aborted { last, reset: 0 };
    }

    pub(super) fn erase_chip(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        if self.suspended.is_some() {
            return self.out_of_sequence(core, now, at, value);
        }
        let all = core.locked.len();
        let sectors: Vec<usize> = (0..all).filter(|sector| !core.locked[*sector]).collect();
        if sectors.len() < all {
            let locked = core.locked.iter().position(|locked| *locked).unwrap_or(0);
            core.violation(now, ChipViolation::Protected(locked));
        }
        if sectors.is_empty() {
            let until = now + REFUSED_ERASE;
            self.work = Work::Refused { until, erase: true, last: 0 };
            return;
        }
        let work = Erasing::together(now, sectors, core.kind.chip_erase, all, true);
        self.work = Work::Erase { work, chip: true, suspends: None };
    }

    pub(super) fn erase_sector(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        if self.suspended.is_some() {
            return self.out_of_sequence(core, now, at, value);
        }
        let sector = core.cells.sector_of(at);
        let work = Erasing::new(now, vec![sector], core.kind.erase, true);
        self.work = Work::Window { work, until: now + ERASE_WINDOW };
    }

    /// Erase suspend in the window: it ends, and the erase is suspended at once.
    pub(super) fn suspend_window(&mut self, core: &mut Core, now: Nanos) {
        self.end_window(core, now);
        if let Work::Erase { suspends, .. } = &mut self.work {
            *suspends = Some(now);
        }
        self.go_on(core, now);
    }

    pub(super) fn resume(&mut self, now: Nanos) {
        let Some(mut work) = self.suspended.take() else { return };
        work.resume(now);
        self.mode = Mode::Array;
        self.work = Work::Erase { work, chip: false, suspends: None };
    }

    /// The window is over: protected sectors are left out, the others are erased.
    fn end_window(&mut self, core: &mut Core, until: Nanos) {
        let Work::Window { work, .. } = std::mem::replace(&mut self.work, Work::None) else {
            return;
        };
        let mut work = work;
        for sector in 0..core.locked.len() {
            if core.locked[sector] && work.has(sector) {
                core.violation(until, ChipViolation::Protected(sector));
            }
        }
        work.begin(until, |sector| !core.locked[sector]);
        self.work = if work.is_empty() {
            Work::Refused { until: until + REFUSED_ERASE, erase: true, last: 0 }
        } else {
            Work::Erase { work, chip: false, suspends: None }
        };
    }

    /// Everything that has happened by `now`.
    pub(super) fn go_on(&mut self, core: &mut Core, now: Nanos) {
        if let Work::Window { until, .. } = &self.work {
            if now < *until {
                return;
            }
            let until = *until;
            self.end_window(core, until);
        }
        match std::mem::replace(&mut self.work, Work::None) {
            Work::Program { mut work, last } => match work.settle(core, now) {
                Progress::Running => self.work = Work::Program { work, last },
                Progress::Done => {}
                Progress::Exceeded => self.work = Work::Failed { erase: None, last },
            },
            Work::Erase { mut work, chip, suspends } => {
                let until = suspends.map_or(now, |at| at.min(now));
                match work.settle(core, until) {
                    Progress::Running if suspends.is_some_and(|at| at <= now) => {
                        work.suspend(until);
                        self.suspended = Some(work);
                    }
                    Progress::Running => self.work = Work::Erase { work, chip, suspends },
                    Progress::Done => {}
                    Progress::Exceeded => {
                        self.work = Work::Failed { erase: Some(work), last: 0 };
                    }
                }
            }
            Work::Refused { until, .. } if until <= now => {}
            other => self.work = other,
        }
    }
}

fn buffer_words(core: &Core) -> u32 {
    core.kind.buffer / u32::from(core.width / 8)
}
