//! What chips of every family share: cells, times, books, codes.

use super::books::{ChipBooks, ChipViolation};
use super::cells::Cells;
use super::faults::{ChipFaults, ChipPace, Wear};
use super::kind::{ChipTime, ChipType};
use crate::bus::Nanos;

/// The part of a chip that does not depend on its command set.
#[derive(Debug)]
pub(super) struct Core {
    pub(super) kind: ChipType,
    pub(super) width: u8,
    pub(super) cells: Cells,
    pub(super) faults: ChipFaults,
    pub(super) books: ChipBooks,
    pub(super) rng: fastrand::Rng,
    /// Sectors that are protected or locked.
    pub(super) locked: Vec<bool>,
}

impl Core {
    pub(super) fn new(kind: ChipType, width: u8, faults: ChipFaults, seed: u64) -> Self {
        let sectors = kind.sector_ranges(width);
        let locked = (0..sectors.len()).map(|n| faults.locked.contains(&n)).collect();
        let books = ChipBooks { erases: vec![0; sectors.len()], ..ChipBooks::default() };
        Self {
            cells: Cells::blank(sectors, width, faults.stuck.clone()),
            kind,
            width,
            faults,
            books,
            rng: fastrand::Rng::with_seed(seed),
            locked,
        }
    }

    /// A 16-bit part wired with 8 lines: its lowest address line counts bytes.
    pub(super) fn byte_mode(&self) -> bool {
        self.width == 8 && self.kind.widths.contains(&16)
    }

    /// The address in words of the part, as tables of codes count.
    pub(super) fn table_address(&self, at: u32) -> u32 {
        if self.byte_mode() { at >> 1 } else { at }
    }

    /// True if `at` is the first (0) or second (1) unlock address. In byte mode both are doubled,
    /// the second with its lowest bit set: AAA and 555 (`Am29LV160D` datasheet, table 9).
    pub(super) fn is_unlock(&self, n: usize, at: u32) -> bool {
        let (mut wanted, mut bits) = (self.kind.unlock[n], u32::from(self.kind.unlock_bits));
        if self.byte_mode() {
            wanted = wanted << 1 | n as u32;
            bits += 1;
        }
        at & ((1 << bits) - 1) == wanted
    }

    /// The CFI byte at a table offset.
    pub(super) fn query(&self, offset: u32) -> u16 {
        let byte = (offset as usize).checked_sub(0x10).and_then(|at| self.kind.cfi.get(at));
        byte.map_or(0, |byte| u16::from(*byte))
    }

    /// The code at a table offset: maker, device and its further words.
    pub(super) fn code(&self, offset: u32) -> u16 {
        let device = |n: usize| self.kind.devices.get(n).copied().unwrap_or(0);
        let word = match offset {
            0 => u16::from(self.kind.maker),
            1 => device(0),
            0x0E => device(1),
            0x0F => device(2),
            _ => 0,
        };
        word & self.cells.ones()
    }

    pub(super) fn read(&mut self, at: u32) -> u16 {
        self.cells.read(at, &mut self.rng)
    }

    pub(super) fn violation(&mut self, now: Nanos, what: ChipViolation) {
        self.books.violation(now, what);
    }

    /// What this chip takes for something.
    pub(super) fn takes(&self, time: ChipTime) -> Nanos {
        match self.faults.pace {
            ChipPace::Typical => time.typical,
            ChipPace::NearLongest => Nanos(time.longest.0 / 20 * 19),
            ChipPace::Percent(percent) => Nanos((time.typical * u64::from(percent)).0 / 100),
        }
    }

    pub(super) fn wear(&self, sector: usize) -> Option<Wear> {
        self.faults.worn.iter().find(|(worn, _)| *worn == sector).map(|(_, wear)| *wear)
    }
}
