//! The cells of a chip: they go to 0 by programming and to 1 by erasing, whole sectors at a time.

use super::faults::StuckBit;
use std::collections::BTreeMap;
use std::ops::Range;

/// One word in this many of a sector whose erase was cut has a bit that is read differently every
/// time. From no source: enough to be found, few enough to be missed by a sample.
const UNSTEADY_WORDS: u32 = 16;

/// Words of a chip with their faults.
#[derive(Debug)]
pub(super) struct Cells {
    words: Vec<u16>,
    ones: u16,
    sectors: Vec<Range<u32>>,
    /// Bits that are read as 0 or 1 by chance.
    unsteady: BTreeMap<u32, u16>,
    stuck: Vec<StuckBit>,
}

impl Cells {
    pub(super) fn blank(sectors: Vec<Range<u32>>, width: u8, stuck: Vec<StuckBit>) -> Self {
        let ones = if width == 8 { 0xFF } else { 0xFFFF };
        let words = sectors.last().map_or(0, |last| last.end) as usize;
        Self { words: vec![ones; words], ones, sectors, unsteady: BTreeMap::new(), stuck }
    }

    /// A word with every data line high.
    pub(super) fn ones(&self) -> u16 {
        self.ones
    }

    pub(super) fn sector_of(&self, at: u32) -> usize {
        self.sectors.partition_point(|sector| sector.end <= at).min(self.sectors.len() - 1)
    }

    /// True if reading is no more than copying.
    pub(super) fn plain(&self) -> bool {
        self.unsteady.is_empty() && self.stuck.is_empty()
    }

    /// The words as they are stored.
    pub(super) fn words(&self) -> &[u16] {
        &self.words
    }

    /// Contents past all rules.
    pub(super) fn set(&mut self, at: usize, word: u16) {
        if let Some(old) = self.words.get_mut(at) {
            *old = word & self.ones;
            self.unsteady.remove(&(at as u32));
        }
    }

    /// The word with its stuck bits, as it would be if no bit were unsteady.
    pub(super) fn steady(&self, at: u32) -> u16 {
        let mut word = self.words.get(at as usize).copied().unwrap_or(self.ones);
        for stuck in self.stuck.iter().filter(|stuck| stuck.at == at) {
            let bit = 1_u16.checked_shl(u32::from(stuck.bit)).unwrap_or(0) & self.ones;
            word = if stuck.high { word | bit } else { word & !bit };
        }
        word
    }

    pub(super) fn read(&self, at: u32, rng: &mut fastrand::Rng) -> u16 {
        let chance = self.unsteady.get(&at).map_or(0, |bits| bits & rng.u16(..));
        self.steady(at) ^ chance
    }

    /// True if every bit of the word is 0 or 1 for good.
    pub(super) fn is_steady(&self, at: u32) -> bool {
        !self.unsteady.contains_key(&at)
    }

    /// Clears the bits that are 0 in `data`.
    pub(super) fn program(&mut self, at: u32, data: u16) {
        let Some(word) = self.words.get_mut(at as usize) else { return };
        *word &= data;
        if let Some(bits) = self.unsteady.get_mut(&at) {
            *bits &= data;
            if *bits == 0 {
                self.unsteady.remove(&at);
            }
        }
    }

    /// Sets every bit; true if every bit then is 1.
    pub(super) fn erase(&mut self, sector: usize) -> bool {
        let range = self.sectors[sector].clone();
        self.words[range.start as usize..range.end as usize].fill(self.ones);
        self.unsteady.retain(|at, _| !range.contains(at));
        !self.stuck.iter().any(|stuck| !stuck.high && range.contains(&stuck.at))
    }

    /// Programming to `data` was cut: each bit on its way may be old, new or neither.
    pub(super) fn cut_program(&mut self, at: u32, data: u16, rng: &mut fastrand::Rng) {
        let Some(word) = self.words.get_mut(at as usize) else { return };
        let moving = *word & !data;
        *word &= !(moving & rng.u16(..));
        let unsteady = moving & rng.u16(..);
        if unsteady != 0 {
            *self.unsteady.entry(at).or_default() |= unsteady;
        }
    }

    /// The erase of `sector` was cut: its words are noise, and some are read differently each time.
    pub(super) fn cut_erase(&mut self, sector: usize, rng: &mut fastrand::Rng) {
        for at in self.sectors[sector].clone() {
            self.words[at as usize] = rng.u16(..) & self.ones;
            if rng.u32(..UNSTEADY_WORDS) == 0 {
                *self.unsteady.entry(at).or_default() |= 1 << rng.u32(..self.ones.count_ones());
            }
        }
    }
}
