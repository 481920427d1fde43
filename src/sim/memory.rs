//! One memory of a simulated module.

use super::chips::{Bank, Chip, ChipConfig};
use crate::bus::{Lane, Levels, Nanos, Span, Width, Word, WordAddress};

/// What kind of memory it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MemoryKind {
    /// Flash. Without chips it only reads, and a write is ignored and booked.
    Flash,
    /// RAM.
    Ram {
        /// A cell keeps its contents without the rail.
        battery: bool,
    },
    /// ROM.
    Rom,
}

/// Where a memory sits and how it is selected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryConfig {
    /// Its name, that of the space in the module sheet.
    pub name: String,
    /// Its kind.
    pub kind: MemoryKind,
    /// Its width.
    pub width: Width,
    /// The data line that is bit 0 of its words.
    pub first_line: u8,
    /// The first word address it answers.
    pub base: WordAddress,
    /// How many words.
    pub words: u32,
    /// The control levels that select it and enable its outputs.
    pub read: Levels,
    /// The control levels that select it and strobe a write.
    pub write: Levels,
    /// From select and address to valid data.
    pub access: Nanos,
    /// The chips of a flash, that on the lowest data lines first; none: it only reads.
    pub chips: Vec<ChipConfig>,
    /// A supervisor holds the chips deselected for so long after power.
    pub held: Nanos,
}

impl MemoryConfig {
    /// The data lines it drives.
    pub fn lane(&self) -> Lane {
        Lane { first: self.first_line, bits: self.width.bits() as u8 }
    }
}

/// What holds the contents.
#[derive(Debug)]
enum Store {
    Words(Vec<Word>),
    Chips(Bank),
}

/// A memory with its contents.
#[derive(Debug)]
pub(super) struct Memory {
    pub(super) config: MemoryConfig,
    store: Store,
}

impl Memory {
    /// A blank one: every bit high.
    pub(super) fn blank(config: MemoryConfig, rng: &mut fastrand::Rng) -> Self {
        let store = if config.chips.is_empty() {
            Store::Words(vec![config.width.ones(); config.words as usize])
        } else {
            Store::Chips(Bank::new(&config.chips, config.width, config.held, rng))
        };
        Self { config, store }
    }

    /// Its chips, that on the lowest data lines first.
    pub(super) fn chips(&self) -> &[Chip] {
        match &self.store {
            Store::Words(_) => &[],
            Store::Chips(bank) => bank.chips(),
        }
    }

    /// The place of an address that is one of its own.
    pub(super) fn place(&self, address: WordAddress) -> Option<u32> {
        address.0.checked_sub(self.config.base.0).filter(|at| *at < self.config.words)
    }

    /// The rail has come or gone at `now`.
    pub(super) fn power(&mut self, now: Nanos, on: bool, rng: &mut fastrand::Rng) {
        match &mut self.store {
            Store::Chips(bank) => bank.power(now, on),
            Store::Words(words) if on => {
                if self.config.kind == (MemoryKind::Ram { battery: false }) {
                    let ones = self.config.width.ones();
                    words.fill_with(|| rng.u32(..) & ones);
                }
            }
            Store::Words(_) => {}
        }
    }

    /// Time has passed.
    pub(super) fn settle(&mut self, now: Nanos) {
        if let Store::Chips(bank) = &mut self.store {
            bank.settle(now);
        }
    }

    /// One read cycle at a place; `None` if it drives nothing.
    pub(super) fn read(&mut self, now: Nanos, at: u32) -> Option<Word> {
        match &mut self.store {
            Store::Words(words) => words.get(at as usize).copied(),
            Store::Chips(bank) => bank.read(now, at),
        }
    }

    /// One write cycle at a place; false if it can have no effect at all.
    pub(super) fn write(&mut self, now: Nanos, at: u32, word: Word) -> bool {
        let writable = matches!(self.config.kind, MemoryKind::Ram { .. });
        match &mut self.store {
            Store::Chips(bank) => {
                bank.write(now, at, word);
                true
            }
            Store::Words(words) => match words.get_mut(at as usize).filter(|_| writable) {
                Some(old) => {
                    *old = word;
                    true
                }
                None => false,
            },
        }
    }

    /// True if reads at `now` are no more than copying.
    pub(super) fn plain(&self, now: Nanos) -> bool {
        match &self.store {
            Store::Words(_) => true,
            Store::Chips(bank) => bank.plain(now),
        }
    }

    /// Appends the words of a span that lies within it, past all rules.
    pub(super) fn copy(&self, span: Span, out: &mut Vec<Word>) {
        let base = self.config.base.0;
        match &self.store {
            Store::Words(words) if span.step == 1 => {
                let from = (span.start.0 - base) as usize;
                out.extend_from_slice(&words[from..from + span.count as usize]);
            }
            Store::Words(words) => {
                out.extend(span.addresses().map(|at| words[(at.0 - base) as usize]));
            }
            Store::Chips(bank) if span.step == 1 => {
                bank.copy((span.start.0 - base) as usize, span.count as usize, out);
            }
            Store::Chips(bank) => {
                out.extend(span.addresses().map(|at| bank.stored((at.0 - base) as usize)));
            }
        }
    }

    /// Little-endian words put at its start, past all rules; false if they are too many.
    pub(super) fn set(&mut self, bytes: &[u8]) -> bool {
        let width = self.config.width;
        let fits = bytes.len() <= self.config.words as usize * width.bytes();
        if fits {
            match &mut self.store {
                Store::Words(words) => {
                    words.iter_mut().zip(width.words(bytes)).for_each(|(old, new)| *old = new);
                }
                Store::Chips(bank) => {
                    width.words(bytes).enumerate().for_each(|(at, word)| bank.set(at, word));
                }
            }
        }
        fits
    }

    /// Its contents as little-endian words.
    pub(super) fn bytes(&self) -> Vec<u8> {
        let width = self.config.width;
        let mut words = Vec::new();
        self.copy(Span::up(self.config.base, self.config.words), &mut words);
        let mut out = Vec::with_capacity(words.len() * width.bytes());
        for word in words {
            width.put(word, &mut out);
        }
        out
    }
}
