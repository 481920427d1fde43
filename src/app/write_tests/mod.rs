//! The scripts that change chips, run by the interpreter over simulated chips of every family.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

mod failures;
mod good;
mod refused;
mod rest;
mod rig;
mod stops;

use crate::bus::Word;
use crate::chips::write::Step;
use rig::{Outcome, Rig, Setup};

/// Every family, on every bus that its simulated chips have, 1, 2 or 4 side by side.
fn setups() -> Vec<Setup> {
    let parts = [
        ("S29AL008J", 16),
        ("S29AL008J", 8),
        ("S29GL064N", 16),
        ("S29GL064N", 8),
        ("Am29LV040B", 8),
        ("SST39VF040", 8),
        ("SST39VF1601", 16),
        ("AT29C040A", 8),
        ("28F320J3A", 16),
        ("28F320J3A", 8),
        ("28F320C3B", 16),
    ];
    let mut all = Vec::new();
    for (chip, bits) in parts {
        for count in [1, 2, 4] {
            if bits * count <= 32 {
                all.push(Setup::new(chip, bits, count));
            }
        }
    }
    all
}

fn name(setup: &Setup) -> String {
    format!("{} x {} on {} lines", setup.count, setup.chip, setup.bits)
}

/// Random words, some of them blank, some in one half only.
fn random_words(seed: u64, count: usize, ones: Word) -> Vec<Word> {
    let mut rng = fastrand::Rng::with_seed(seed);
    let mut words = Vec::new();
    while words.len() < count {
        let run = rng.usize(1..40);
        let kind = rng.u8(..4);
        words.extend((0..run).map(|_| match kind {
            0 => ones,
            1 => (rng.u32(..) | 0xFF00_FF00) & ones,
            _ => rng.u32(..) & ones,
        }));
    }
    words.truncate(count);
    words
}

impl Rig {
    /// Erases a sector; the runs in order, the second only if all chips have begun.
    fn erase(&mut self, sector: (u32, u32)) -> Vec<Outcome> {
        self.allow(sector);
        let scripts = self.writing.erase().unwrap();
        let b = self.base() + sector.0;
        let begun = self.run(&scripts[0], b, 1, Vec::new());
        let all = self.writing.started(&begun.emitted).iter().all(|started| *started);
        let mut outcomes = vec![begun];
        if all && outcomes[0].ended.good() {
            outcomes.push(self.run(&scripts[1], b, 1, Vec::new()));
        }
        outcomes
    }

    /// Programs words from `first` on; the first run that does not end good ends it.
    fn program(&mut self, first: u32, words: &[Word], most: usize) -> Result<usize, Outcome> {
        let steps: Vec<Step> = self.writing.program(first, words, most);
        let count = steps.len();
        for step in steps {
            assert!(step.payload.len() <= most.max(1), "{} of {most}", step.payload.len());
            let script = self.writing.script(step.kind).unwrap();
            let outcome = self.run(&script, step.b.0, step.n, step.payload);
            if !outcome.ended.good() {
                return Err(outcome);
            }
        }
        Ok(count)
    }

    /// Clears the lock of a sector, where one is set and can be cleared.
    fn open_lock(&mut self, sector: (u32, u32)) {
        if let Some(script) = self.writing.unlock() {
            self.allow(sector);
            let outcome = self.run(&script.unwrap(), self.base() + sector.0, 1, Vec::new());
            assert!(outcome.ended.good(), "{:?}", outcome.ended);
        }
    }

    /// Clears the lock of a sector in one chip alone.
    fn unlock_lane(&mut self, chip: usize, sector: (u32, u32)) {
        let script = self.writing.unlock().unwrap().unwrap();
        self.allow(sector);
        let lane = self.writing.chips[chip].lane().mask();
        let b = self.base() + sector.0;
        assert!(self.run_on(lane, &script, b, 1, Vec::new()).ended.good());
    }

    fn reset(&mut self) {
        let script = self.writing.reset().unwrap();
        let base = self.base();
        assert!(self.run(&script, base, 1, Vec::new()).ended.good());
    }
}
