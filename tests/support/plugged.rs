//! QEMU's flash plugged into the simulated adapter, and a witness of what reaches it.

use super::qemu::QemuFlash;
use buswright::bus::{
    Cycles, Millivolts, Nanos, Precharge, Shape, ShapeTimes, Span, Word, WordAddress,
};
use buswright::sim::Socket;
use std::sync::{Arc, Mutex, PoisonError};

/// A 3.3 V part answers from here on (the lower limit of its usual range of 2.7 V to 3.6 V).
const NEEDS: Millivolts = Millivolts(2_700);

/// Writes that are kept one by one.
const KEPT: usize = 10_000;

/// What has reached the module.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// Read cycles.
    pub reads: u64,
    /// Read cycles with the address going down.
    pub reads_down: u64,
    /// Read cycles with the data lines charged high before.
    pub reads_after_ones: u64,
    /// Write cycles.
    pub writes: u64,
    /// The first of them: address and word.
    pub written: Vec<(u32, Word)>,
    /// Cycles without supply.
    pub unpowered: u64,
    /// Times the rail came up.
    pub power_ups: u64,
    /// The rail now, in millivolts.
    pub rail: Millivolts,
    /// The strobes of the read cycles, each once, in ns.
    pub pulses: Vec<u16>,
}

/// QEMU's flash behind a witness.
///
/// The flash itself has no supply that could be switched, so the witness keeps its books.
pub struct Plugged {
    flash: QemuFlash,
    seen: Arc<Mutex<Seen>>,
}

/// The witness, also once the flash has gone to another thread.
#[derive(Clone)]
pub struct Witness(Arc<Mutex<Seen>>);

impl Witness {
    /// What has reached the module so far.
    pub fn seen(&self) -> Seen {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Plugged {
    /// Plugs `flash` in, without supply.
    pub fn new(flash: QemuFlash) -> (Self, Witness) {
        let seen = Arc::new(Mutex::new(Seen::default()));
        (Self { flash, seen: Arc::clone(&seen) }, Witness(seen))
    }

    fn note(&self, cycles: u64, note: impl FnOnce(&mut Seen)) {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if seen.rail < NEEDS {
            seen.unpowered += cycles;
        }
        note(&mut seen);
    }

    fn note_reads(&self, cycles: u64, down: bool, precharge: Precharge, times: ShapeTimes) {
        self.note(cycles, |seen| {
            seen.reads += cycles;
            seen.reads_down += if down { cycles } else { 0 };
            seen.reads_after_ones += if precharge == Precharge::Ones { cycles } else { 0 };
            if !seen.pulses.contains(&times.pulse) {
                seen.pulses.push(times.pulse);
            }
        });
    }
}

impl Cycles for Plugged {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        self.note_reads(1, false, precharge, shape.times);
        self.flash.read(shape, address, precharge)
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, word: Word) {
        self.note(1, |seen| {
            seen.writes += 1;
            if seen.written.len() < KEPT {
                seen.written.push((address.0, word));
            }
        });
        self.flash.write(shape, address, word);
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, precharge: Precharge, out: &mut Vec<Word>) {
        self.note_reads(u64::from(span.count), span.step < 0, precharge, shape.times);
        self.flash.read_burst(shape, span, precharge, out);
    }

    fn delay(&mut self, time: Nanos) {
        self.flash.delay(time);
    }

    fn now(&self) -> Nanos {
        self.flash.now()
    }
}

impl Socket for Plugged {
    fn power(&mut self, _: Nanos, mv: Millivolts) {
        self.note(0, |seen| {
            seen.power_ups += u64::from(seen.rail < NEEDS && mv >= NEEDS);
            seen.rail = mv;
        });
    }
}
