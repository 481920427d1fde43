//! Page-write parts: a page is loaded byte by byte, then erased and written in one cycle.
//!
//! `AT29C020` and `AT29C040A` features (page, 10 ms cycle); sequences of `AT28C040` datasheet 0542F:
//! protected write 5555/AA 2AAA/55 5555/A0, protection off ..80 ..AA ..55 ..20. The byte-load window
//! of 150 us, that bytes not loaded become FF, and that a write which protection refuses is busy for a
//! cycle all the same: from memory, AT29C datasheets.

use super::books::ChipViolation;
use super::core::Core;
use super::family::{ChipState, CommandSet};
use crate::bus::Nanos;
use std::collections::BTreeMap;

/// The command sequences: codes at the first and second unlock address in turn.
const SEQUENCES: [(&[u16], Command); 4] = [
    (&[0xAA, 0x55, 0xA0], Command::Protect),
    (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x20], Command::Unprotect),
    (&[0xAA, 0x55, 0x90], Command::Codes),
    (&[0xAA, 0x55, 0xF0], Command::Exit),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Command {
    Protect,
    Unprotect,
    Codes,
    Exit,
}

#[derive(Debug)]
enum Work {
    None,
    /// Writes that may become a command.
    Perhaps(Vec<(u32, u16)>),
    /// Bytes of a page; empty right after a command.
    Load(BTreeMap<u32, u16>),
    /// A write that protection refuses.
    Refused,
    /// The page is being erased and written; `None`: busy without effect.
    Cycle {
        page: Option<BTreeMap<u32, u16>>,
        ends: Nanos,
    },
}

#[derive(Debug)]
pub(super) struct Page {
    /// Software data protection; it stays without supply.
    protected: bool,
    codes: bool,
    work: Work,
    /// When the load ends if nothing more comes.
    until: Nanos,
    last: u16,
    dq6: bool,
}

impl Page {
    pub(super) fn new() -> Self {
        Self {
            protected: true,
            codes: false,
            work: Work::None,
            until: Nanos::ZERO,
            last: 0,
            dq6: false,
        }
    }

    fn obey(&mut self, command: Command) {
        self.work = match command {
            Command::Protect | Command::Unprotect => {
                self.protected = command == Command::Protect;
                Work::Load(BTreeMap::new())
            }
            Command::Codes | Command::Exit => {
                self.codes = command == Command::Codes;
                Work::None
            }
        };
    }

    fn load(core: &mut Core, now: Nanos, page: &mut BTreeMap<u32, u16>, at: u32, value: u16) {
        let sector = core.cells.sector_of(at);
        match page.keys().next().map(|first| core.cells.sector_of(*first)) {
            Some(first) if first != sector => core.violation(now, ChipViolation::OtherPage(at)),
            _ => {
                page.insert(at, value);
            }
        }
    }

    /// Writes that turned out to be no command are bytes of a page, or refused.
    fn not_a_command(&mut self, core: &mut Core, now: Nanos, writes: &[(u32, u16)]) {
        if self.protected {
            if let Some((at, _)) = writes.last() {
                core.violation(now, ChipViolation::Protected(core.cells.sector_of(*at)));
            }
            self.work = Work::Refused;
            return;
        }
        let mut page = BTreeMap::new();
        for (at, value) in writes {
            Self::load(core, now, &mut page, *at, *value);
        }
        self.work = Work::Load(page);
    }

    fn perhaps(&mut self, core: &mut Core, now: Nanos, writes: Vec<(u32, u16)>) {
        let fits = |codes: &[u16]| {
            let steps = writes.iter().zip(codes).enumerate();
            writes.len() <= codes.len()
                && steps.into_iter().all(|(n, ((at, value), code))| {
                    value == code && core.is_unlock(usize::from(n % 3 == 1), *at)
                })
        };
        let mut fitting = SEQUENCES.iter().filter(|(codes, _)| fits(codes));
        match fitting.next().copied() {
            Some((codes, command)) if codes.len() == writes.len() => self.obey(command),
            Some(_) => self.work = Work::Perhaps(writes),
            None => self.not_a_command(core, now, &writes),
        }
    }

    fn begin_cycle(&mut self, core: &mut Core, page: Option<BTreeMap<u32, u16>>) {
        let ends = self.until + core.takes(core.kind.erase);
        self.work = Work::Cycle { page, ends };
    }

    fn write_page(core: &mut Core, now: Nanos, page: &BTreeMap<u32, u16>) {
        let Some(first) = page.keys().next() else { return };
        let sector = core.cells.sector_of(*first);
        if core.locked[sector] {
            return core.violation(now, ChipViolation::Protected(sector));
        }
        core.books.erases[sector] = core.books.erases[sector].saturating_add(1);
        if core.wear(sector).is_some() {
            return core.cells.cut_erase(sector, &mut core.rng);
        }
        core.cells.erase(sector);
        for (at, value) in page {
            core.cells.program(*at, *value);
            core.books.programs += 1;
        }
    }
}

impl CommandSet for Page {
    fn power_up(&mut self, _: &mut Core) {
        *self = Self { protected: self.protected, ..Self::new() };
    }

    fn cut(&mut self, core: &mut Core) -> bool {
        let work = std::mem::replace(&mut self.work, Work::None);
        let Work::Cycle { page: Some(page), .. } = work else { return false };
        let Some(first) = page.keys().next() else { return false };
        let sector = core.cells.sector_of(*first);
        core.cells.cut_erase(sector, &mut core.rng);
        true
    }

    fn settle(&mut self, core: &mut Core, now: Nanos) {
        if !matches!(self.work, Work::None | Work::Cycle { .. }) && now >= self.until {
            if let Work::Perhaps(writes) = &mut self.work {
                let writes = std::mem::take(writes);
                self.not_a_command(core, now, &writes);
            }
            match std::mem::replace(&mut self.work, Work::None) {
                Work::Load(page) if !page.is_empty() => self.begin_cycle(core, Some(page)),
                Work::Refused => self.begin_cycle(core, None),
                _ => {}
            }
        }
        if let Work::Cycle { page, ends } = &mut self.work
            && now >= *ends
        {
            if let Some(page) = page.take() {
                Self::write_page(core, now, &page);
            }
            self.work = Work::None;
        }
    }

    fn read(&mut self, core: &mut Core, _: Nanos, at: u32) -> u16 {
        let loading = match &self.work {
            Work::None | Work::Perhaps(_) => false,
            Work::Load(page) => !page.is_empty(),
            Work::Refused | Work::Cycle { .. } => true,
        };
        if loading {
            self.dq6 = !self.dq6;
            let dq6 = if self.dq6 { 0x40 } else { 0 };
            return (!self.last & 0x80) | dq6 | (core.rng.u16(..) & 0x3F);
        }
        if self.codes { core.code(at & 0xFF) } else { core.read(at) }
    }

    fn write(&mut self, core: &mut Core, now: Nanos, at: u32, value: u16) {
        let until = now + core.kind.load_window;
        match std::mem::replace(&mut self.work, Work::None) {
            Work::Cycle { page, ends } => {
                let first = page.as_ref().and_then(|page| page.keys().next().copied());
                let here = core.cells.sector_of(at);
                let same = first.is_some_and(|first| core.cells.sector_of(first) == here);
                let late = ChipViolation::LoadTooLate(at);
                let what = if same { late } else { ChipViolation::Busy(at, value) };
                core.violation(now, what);
                self.work = Work::Cycle { page, ends };
                return;
            }
            Work::None => self.perhaps(core, now, vec![(at, value)]),
            Work::Perhaps(mut writes) => {
                writes.push((at, value));
                self.perhaps(core, now, writes);
            }
            Work::Load(mut page) => {
                Self::load(core, now, &mut page, at, value);
                self.work = Work::Load(page);
            }
            Work::Refused => self.work = Work::Refused,
        }
        (self.until, self.last) = (until, value);
    }

    fn state(&self) -> ChipState {
        match &self.work {
            Work::None if self.codes => ChipState::Codes,
            Work::None => ChipState::Array,
            Work::Perhaps(_) => ChipState::Sequence,
            Work::Load(page) if page.is_empty() => ChipState::Sequence,
            _ => ChipState::Busy,
        }
    }
}
