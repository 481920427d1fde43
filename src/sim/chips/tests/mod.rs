//! Tests of the chips on literal command sequences.

mod amd;
mod amd_buffer;
mod amd_erase;
mod fuzz;
mod intel;
mod intel_locks;
mod jedec;
mod page;
mod supply;

use super::{Chip, ChipConfig, ChipFaults, ChipType, ChipViolation};
use crate::bus::Nanos;

const DQ7: u16 = 0x80;
const DQ6: u16 = 0x40;
const DQ5: u16 = 0x20;
const DQ3: u16 = 0x08;
const DQ2: u16 = 0x04;
const DQ1: u16 = 0x02;

/// One powered chip and a clock; every cycle takes 100 ns.
struct Rig {
    chip: Chip,
    width: u8,
    now: Nanos,
}

impl Rig {
    fn with(name: &str, width: u8, faults: ChipFaults) -> Self {
        let kind = ChipType::builtin(name).unwrap();
        assert!(kind.widths.contains(&width));
        let mut chip = Chip::new(ChipConfig { kind, faults }, width, 5);
        chip.power(Nanos::ZERO, true);
        Self { chip, width, now: Nanos::ZERO }
    }

    fn new(name: &str) -> Self {
        let width = ChipType::builtin(name).unwrap().widths[0];
        Self::with(name, width, ChipFaults::default())
    }

    fn wait(&mut self, time: Nanos) {
        self.now += time;
        self.chip.settle(self.now);
    }

    fn wait_us(&mut self, us: u64) {
        self.wait(Nanos::from_micros(us));
    }

    fn wait_ms(&mut self, ms: u64) {
        self.wait(Nanos::from_millis(ms));
    }

    fn write(&mut self, at: u32, value: u16) {
        self.now += Nanos(100);
        self.chip.write(self.now, at, value);
    }

    fn writes(&mut self, cycles: &[(u32, u16)]) {
        for (at, value) in cycles {
            self.write(*at, *value);
        }
    }

    fn read(&mut self, at: u32) -> u16 {
        self.now += Nanos(100);
        self.chip.read(self.now, at)
    }

    /// The bits of `mask` in two reads that follow each other: the first, and what changed.
    fn twice(&mut self, at: u32, mask: u16) -> (u16, u16) {
        let (a, b) = (self.read(at), self.read(at));
        (a & mask, (a ^ b) & mask)
    }

    fn cut(&mut self) {
        self.chip.power(self.now, false);
        self.now += Nanos::from_millis(100);
        self.chip.power(self.now, true);
    }

    fn words(&self) -> Vec<u16> {
        self.chip.words().to_vec()
    }

    fn fill(&mut self, seed: u64) {
        let mut rng = fastrand::Rng::with_seed(seed);
        let ones = self.chip.words()[0];
        for at in 0..self.chip.words().len() {
            self.chip.set(at, rng.u16(..) & ones);
        }
    }

    fn violations(&self) -> Vec<ChipViolation> {
        self.chip.books().violations.iter().map(|(_, what)| *what).collect()
    }

    /// CFI bytes from table offset 10 on, `scale` addresses apart, equal the data of the type.
    fn assert_query(&mut self, scale: u32) {
        let cfi = self.chip.kind().cfi.clone();
        assert!(cfi.len() > 0x20);
        for (offset, byte) in (0x10..).zip(cfi) {
            assert_eq!(self.read(offset * scale), u16::from(byte), "offset {offset:X}");
        }
    }
}
