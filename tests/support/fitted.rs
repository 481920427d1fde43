//! Emulated flash with a supply: without it there is no QEMU, so what it holds is on the disk.
//!
//! One QEMU stands for one chip or for several on one bus; several side by side each have their
//! own lanes and are independent of each other.

use super::qemu::QemuFlash;
use buswright::bus::{Cycles, Millivolts, Nanos, Precharge, Shape, Span, Width, Word, WordAddress};
use buswright::sim::Socket;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// A 3.3 V part answers from here on (the lower limit of its usual range of 2.7 V to 3.6 V).
const NEEDS: Millivolts = Millivolts(2_700);

/// After so many reads without a write somebody waits for what takes long.
const PATIENCE: u32 = 1_000;
/// Each read takes so long from then on, so that limits of minutes need no millions of reads.
const LAPSE: Nanos = Nanos::from_millis(50);

/// What has reached the module, besides reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The supply came.
    PowerUp,
    /// The supply went.
    PowerDown,
    /// A write cycle.
    Write(u32, Word),
}

/// The books of what is fitted, and what a test does to it.
#[derive(Debug, Default)]
struct Shared {
    steps: Vec<Step>,
    reads: u64,
    unpowered: u64,
    /// Bit n: the clock of QEMU n does not run from the next supply on.
    frozen: u8,
}

/// The same books, for the test.
#[derive(Clone)]
pub struct Log(Arc<Mutex<Shared>>);

impl Log {
    fn shared(&self) -> MutexGuard<'_, Shared> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Every step since the last call.
    pub fn take(&self) -> Vec<Step> {
        std::mem::take(&mut self.shared().steps)
    }

    /// Cycles that were made without supply.
    pub fn unpowered(&self) -> u64 {
        self.shared().unpowered
    }

    /// Read cycles.
    pub fn reads(&self) -> u64 {
        self.shared().reads
    }

    /// Which QEMUs' clocks stand still when the supply comes again, bit n for number n: what one
    /// of those begins never ends.
    pub fn freeze(&self, which: u8) {
        self.shared().frozen = which;
    }
}

/// Starts one QEMU.
pub type Start = Box<dyn Fn() -> QemuFlash + Send>;

/// What is plugged in.
pub struct Fitted {
    starts: Vec<Start>,
    /// With supply; that on the lowest data lines first.
    running: Vec<QemuFlash>,
    log: Log,
    clock: Nanos,
    reads_in_a_row: u32,
}

impl Fitted {
    /// Plugs in what `starts` bring up, that on the lowest data lines first, without supply.
    pub fn new(starts: Vec<Start>) -> (Self, Log) {
        let log = Log(Arc::new(Mutex::new(Shared::default())));
        let fitted = Self {
            starts,
            running: Vec::new(),
            log: log.clone(),
            clock: Nanos::ZERO,
            reads_in_a_row: 0,
        };
        (fitted, log)
    }

    /// The data lines of one QEMU.
    fn lane(&self, shape: &Shape) -> Width {
        let bits = shape.width.bits() / self.starts.len() as u32;
        Width::from_bits(bits).unwrap_or(shape.width)
    }

    /// One word of each QEMU as a word of the bus.
    fn joined(&self, shape: &Shape, words: impl Iterator<Item = Word>) -> Word {
        let bits = self.lane(shape).bits();
        let words = words.zip((0..).step_by(bits as usize));
        words.fold(0, |all, (word, first)| all | word << first)
    }

    fn note(&mut self, cycles: u64, time: Nanos) -> bool {
        self.clock += time;
        let powered = !self.running.is_empty();
        if !powered {
            self.log.shared().unpowered += cycles;
        }
        powered
    }
}

impl Cycles for Fitted {
    fn read(&mut self, shape: &Shape, address: WordAddress, _: Precharge) -> Word {
        self.reads_in_a_row += 1;
        let long = self.reads_in_a_row > PATIENCE;
        self.log.shared().reads += 1;
        if !self.note(1, if long { LAPSE } else { shape.times.cycle() }) {
            return shape.width.ones();
        }
        self.running.iter_mut().for_each(|flash| flash.ask(address));
        let words: Vec<_> = self.running.iter_mut().map(QemuFlash::answer).collect();
        self.joined(shape, words.into_iter())
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        self.reads_in_a_row = 0;
        self.log.shared().steps.push(Step::Write(address.0, value));
        if !self.note(1, shape.times.cycle()) {
            return;
        }
        let lane = self.lane(shape);
        for (flash, first) in self.running.iter_mut().zip((0..).step_by(lane.bits() as usize)) {
            let one = Shape { width: lane, ..*shape };
            flash.write(&one, address, value >> first & lane.ones());
        }
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, _: Precharge, out: &mut Vec<Word>) {
        self.reads_in_a_row = 0;
        self.log.shared().reads += u64::from(span.count);
        let count = span.count as usize;
        if !self.note(count as u64, shape.times.cycle() * u64::from(span.count)) {
            out.extend(vec![shape.width.ones(); count]);
            return;
        }
        let Some(lowest) = span.addresses().map(|address| address.0).min() else { return };
        self.running.iter_mut().for_each(|flash| flash.ask_block(WordAddress(lowest), count));
        let lanes: Vec<Vec<Word>> =
            self.running.iter_mut().map(|flash| flash.block().collect()).collect();
        let at = |n: u32| self.joined(shape, lanes.iter().map(|lane| lane[n as usize]));
        out.extend(span.addresses().map(|address| at(address.0 - lowest)));
    }

    fn delay(&mut self, time: Nanos) {
        self.clock += time;
    }

    fn now(&self) -> Nanos {
        self.clock
    }
}

impl Socket for Fitted {
    fn power(&mut self, _: Nanos, mv: Millivolts) {
        match (mv >= NEEDS, self.running.is_empty()) {
            (true, true) => {
                self.running = self.starts.iter().map(|start| start()).collect();
                let frozen = self.log.shared().frozen;
                for (n, flash) in self.running.iter_mut().enumerate() {
                    if frozen >> n & 1 == 0 {
                        flash.run_clock();
                    }
                }
                self.log.shared().steps.push(Step::PowerUp);
            }
            (false, false) => {
                self.running.clear();
                self.log.shared().steps.push(Step::PowerDown);
            }
            _ => {}
        }
    }
}
