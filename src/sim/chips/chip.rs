//! A chip: one lane of a memory.

use super::amd::Amd;
use super::books::{ChipBooks, ChipViolation};
use super::core::Core;
use super::family::{ChipState, CommandSet};
use super::faults::ChipFaults;
use super::intel::Intel;
use super::jedec::Jedec;
use super::kind::{ChipType, Family};
use super::page::Page;
use crate::bus::Nanos;

/// A type of chip with what is wrong with one specimen of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChipConfig {
    /// The type.
    pub kind: ChipType,
    /// What is wrong.
    pub faults: ChipFaults,
}

/// A simulated chip. Addresses are words of its own width from its start.
#[derive(Debug)]
pub struct Chip {
    core: Core,
    set: Box<dyn CommandSet>,
    powered: bool,
}

impl Chip {
    /// A blank one without supply, wired with `width` data lines.
    pub(super) fn new(config: ChipConfig, width: u8, seed: u64) -> Self {
        let set: Box<dyn CommandSet> = match config.kind.family {
            Family::Amd => Box::new(Amd::new()),
            Family::Jedec => Box::new(Jedec::new()),
            Family::Page => Box::new(Page::new()),
            Family::Intel => Box::new(Intel::new()),
        };
        Self { core: Core::new(config.kind, width, config.faults, seed), set, powered: false }
    }

    /// Its type.
    pub fn kind(&self) -> &ChipType {
        &self.core.kind
    }

    /// What it has seen and done.
    pub fn books(&self) -> &ChipBooks {
        &self.core.books
    }

    /// What it is doing or has been left in, as of the last cycle or delay.
    pub fn state(&self) -> ChipState {
        self.set.state()
    }

    /// True if a sector is protected or locked.
    pub fn is_locked(&self, sector: usize) -> bool {
        self.core.locked.get(sector).copied().unwrap_or(false)
    }

    /// True if reading is no more than copying the words.
    pub(super) fn plain(&self) -> bool {
        matches!(self.state(), ChipState::Array | ChipState::Bypass)
            && self.core.cells.plain()
            && !self.core.faults.nonsense
    }

    pub(super) fn words(&self) -> &[u16] {
        self.core.cells.words()
    }

    /// Contents past all rules.
    pub(super) fn set(&mut self, at: usize, word: u16) {
        self.core.cells.set(at, word);
    }

    pub(super) fn power(&mut self, now: Nanos, on: bool) {
        if on == self.powered {
            return;
        }
        self.powered = on;
        if on {
            self.set.power_up(&mut self.core);
            return;
        }
        self.settle(now);
        if self.set.cut(&mut self.core) {
            self.core.violation(now, ChipViolation::SupplyCut);
        }
    }

    pub(super) fn settle(&mut self, now: Nanos) {
        self.set.settle(&mut self.core, now);
    }

    pub(super) fn read(&mut self, now: Nanos, at: u32) -> u16 {
        if self.core.faults.nonsense {
            return self.core.rng.u16(..) & self.core.cells.ones();
        }
        self.settle(now);
        self.set.read(&mut self.core, now, at)
    }

    pub(super) fn write(&mut self, now: Nanos, at: u32, value: u16) {
        self.core.books.writes += 1;
        if self.core.faults.nonsense {
            return;
        }
        self.settle(now);
        self.set.write(&mut self.core, now, at, value);
        self.settle(now);
    }

    /// A write that a supervisor kept from it.
    pub(super) fn write_deselected(&mut self, now: Nanos, at: u32) {
        self.core.violation(now, ChipViolation::Deselected(at));
    }
}
