//! Chips side by side: lane 0 on the lowest data lines.

use super::chip::{Chip, ChipConfig};
use crate::bus::{Nanos, Width, Word};

/// The chips of one memory.
#[derive(Debug)]
pub(in crate::sim) struct Bank {
    chips: Vec<Chip>,
    /// Data lines of each.
    lines: u32,
    /// A supervisor holds them deselected for so long after power.
    held: Nanos,
    free_at: Nanos,
}

impl Bank {
    /// Blank chips without supply; `configs` is not empty and divides the width.
    pub(in crate::sim) fn new(
        configs: &[ChipConfig],
        width: Width,
        held: Nanos,
        rng: &mut fastrand::Rng,
    ) -> Self {
        let lines = width.bits() / configs.len().max(1) as u32;
        let chip = |config: &ChipConfig| Chip::new(config.clone(), lines as u8, rng.u64(..));
        let chips = configs.iter().map(chip).collect();
        Self { chips, lines, held, free_at: Nanos::ZERO }
    }

    pub(in crate::sim) fn chips(&self) -> &[Chip] {
        &self.chips
    }

    fn ones(&self) -> Word {
        (1 << self.lines) - 1
    }

    fn is_held(&self, now: Nanos) -> bool {
        now < self.free_at
    }

    /// True if reading is no more than copying.
    pub(in crate::sim) fn plain(&self, now: Nanos) -> bool {
        !self.is_held(now) && self.chips.iter().all(Chip::plain)
    }

    /// The stored word, past all rules.
    pub(in crate::sim) fn stored(&self, at: usize) -> Word {
        let lanes = self.chips.iter().rev();
        lanes.fold(0, |word, chip| {
            let lane = chip.words().get(at).copied().unwrap_or(0);
            word.checked_shl(self.lines).unwrap_or(0) | Word::from(lane)
        })
    }

    /// Appends the stored words from `from` on, past all rules.
    pub(in crate::sim) fn copy(&self, from: usize, count: usize, out: &mut Vec<Word>) {
        let slice = |chip| Self::slice(chip, from, count);
        match &self.chips[..] {
            [one] => out.extend(slice(one).iter().map(|word| Word::from(*word))),
            [low, high] => {
                let pairs = slice(low).iter().zip(slice(high));
                out.extend(pairs.map(|(l, h)| Word::from(*l) | Word::from(*h) << self.lines));
            }
            _ => out.extend((from..from + count).map(|at| self.stored(at))),
        }
    }

    fn slice(chip: &Chip, from: usize, count: usize) -> &[u16] {
        chip.words().get(from..from + count).unwrap_or_default()
    }

    /// Contents past all rules.
    pub(in crate::sim) fn set(&mut self, at: usize, word: Word) {
        let (lines, ones) = (self.lines, self.ones());
        for (n, chip) in self.chips.iter_mut().enumerate() {
            chip.set(at, ((word >> (lines * n as u32)) & ones) as u16);
        }
    }

    pub(in crate::sim) fn power(&mut self, now: Nanos, on: bool) {
        if on {
            self.free_at = now + self.held;
        }
        self.chips.iter_mut().for_each(|chip| chip.power(now, on));
    }

    pub(in crate::sim) fn settle(&mut self, now: Nanos) {
        self.chips.iter_mut().for_each(|chip| chip.settle(now));
    }

    /// One read cycle; `None` while the chips are held deselected.
    pub(in crate::sim) fn read(&mut self, now: Nanos, at: u32) -> Option<Word> {
        if self.is_held(now) {
            return None;
        }
        let lines = self.lines;
        let chips = self.chips.iter_mut().enumerate();
        Some(
            chips.fold(0, |word, (n, chip)| {
                word | Word::from(chip.read(now, at)) << (lines * n as u32)
            }),
        )
    }

    /// One write cycle to every lane.
    pub(in crate::sim) fn write(&mut self, now: Nanos, at: u32, word: Word) {
        let (lines, ones, held) = (self.lines, self.ones(), self.is_held(now));
        for (n, chip) in self.chips.iter_mut().enumerate() {
            if held {
                chip.write_deselected(now, at);
            } else {
                chip.write(now, at, ((word >> (lines * n as u32)) & ones) as u16);
            }
        }
    }
}
