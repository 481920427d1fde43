//! Embedded operations that take time: programming words, erasing sectors.

use super::books::ChipViolation;
use super::core::Core;
use super::faults::Wear;
use super::kind::ChipTime;
use crate::bus::Nanos;

/// How far an operation is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Progress {
    /// Not done.
    Running,
    /// Done.
    Done,
    /// The longest time has passed without success.
    Exceeded,
}

/// Words being programmed at the same time.
#[derive(Debug)]
pub(super) struct Programming {
    words: Vec<(u32, u16)>,
    begun: Nanos,
    time: ChipTime,
    takes: Nanos,
    /// The cells have been changed, and are not what was wanted.
    failed: bool,
    /// The chip compares; otherwise it only waits.
    checks: bool,
}

impl Programming {
    pub(super) fn new(
        core: &mut Core,
        now: Nanos,
        words: Vec<(u32, u16)>,
        time: ChipTime,
        checks: bool,
    ) -> Self {
        for (at, data) in &words {
            if core.cells.steady(*at) & data != data & core.cells.ones() {
                core.violation(now, ChipViolation::OneOverZero(*at));
            }
        }
        Self { words, begun: now, time, takes: core.takes(time), failed: false, checks }
    }

    pub(super) fn settle(&mut self, core: &mut Core, now: Nanos) -> Progress {
        if now < self.begun + self.takes {
            return Progress::Running;
        }
        if !self.failed {
            for (at, data) in &self.words {
                let before = core.cells.steady(*at);
                // Of the ones over zeros only the config decides whether the chip notices.
                let wanted = if core.faults.ones_look_good { before & data } else { *data };
                core.books.programs += 1;
                core.cells.program(*at, *data);
                let equal = core.cells.steady(*at) == wanted & core.cells.ones();
                self.failed |= !equal || !core.cells.is_steady(*at);
            }
            if !self.failed || !self.checks {
                return Progress::Done;
            }
        }
        if now < self.begun + self.time.longest { Progress::Running } else { Progress::Exceeded }
    }

    /// Time spent so far, kept while it is suspended.
    pub(super) fn suspend(&mut self, now: Nanos) {
        self.begun = Nanos(now.since(self.begun).0);
    }

    pub(super) fn resume(&mut self, now: Nanos) {
        self.begun = now - self.begun;
    }

    pub(super) fn cut(&self, core: &mut Core) {
        if !self.failed {
            for (at, data) in &self.words {
                core.cells.cut_program(*at, *data, &mut core.rng);
            }
        }
    }
}

/// Sectors being erased one after another.
#[derive(Debug)]
pub(super) struct Erasing {
    sectors: Vec<usize>,
    /// How many are done.
    done: usize,
    /// When the one in hand was begun.
    begun: Nanos,
    time: ChipTime,
    /// The one in hand has had its time and is not blank.
    failed: bool,
    /// The chip compares; otherwise it only waits.
    checks: bool,
}

impl Erasing {
    /// `time` is that of one sector.
    pub(super) fn new(now: Nanos, sectors: Vec<usize>, time: ChipTime, checks: bool) -> Self {
        Self { sectors, done: 0, begun: now, time, failed: false, checks }
    }

    /// The sectors that share `time`.
    pub(super) fn together(
        now: Nanos,
        sectors: Vec<usize>,
        time: ChipTime,
        of: usize,
        checks: bool,
    ) -> Self {
        let share = |time: Nanos| Nanos(time.0 / of.max(1) as u64);
        let time = ChipTime { typical: share(time.typical), longest: share(time.longest) };
        Self::new(now, sectors, time, checks)
    }

    pub(super) fn add(&mut self, sector: usize) {
        if !self.sectors.contains(&sector) {
            self.sectors.push(sector);
        }
    }

    /// The erase proper begins; sectors that are not `wanted` are left out.
    pub(super) fn begin(&mut self, now: Nanos, wanted: impl Fn(usize) -> bool) {
        self.begun = now;
        self.sectors.retain(|sector| wanted(*sector));
    }

    pub(super) fn has(&self, sector: usize) -> bool {
        self.sectors.contains(&sector)
    }

    pub(super) fn is_empty(&self) -> bool {
        self.sectors.is_empty()
    }

    pub(super) fn settle(&mut self, core: &mut Core, now: Nanos) -> Progress {
        while let Some(&sector) = self.sectors.get(self.done) {
            let takes = core.takes(self.time);
            if now < self.begun + takes {
                return Progress::Running;
            }
            let wear = core.wear(sector);
            if !self.failed {
                if wear.is_some() {
                    core.cells.cut_erase(sector, &mut core.rng);
                    self.failed = true;
                } else {
                    self.failed = !core.cells.erase(sector);
                }
            }
            if self.failed && self.checks {
                let over = now >= self.begun + self.time.longest && wear != Some(Wear::Never);
                return if over { Progress::Exceeded } else { Progress::Running };
            }
            core.books.erases[sector] = core.books.erases[sector].saturating_add(1);
            self.begun += takes;
            self.done += 1;
            self.failed = false;
        }
        Progress::Done
    }

    /// Time spent on the sector in hand, kept while it is suspended.
    pub(super) fn suspend(&mut self, now: Nanos) {
        self.begun = now - self.begun;
    }

    pub(super) fn resume(&mut self, now: Nanos) {
        self.begun = now - self.begun;
    }

    pub(super) fn cut(&self, core: &mut Core) {
        if let Some(&sector) = self.sectors.get(self.done) {
            core.cells.cut_erase(sector, &mut core.rng);
        }
    }
}
