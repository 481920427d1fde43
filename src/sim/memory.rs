//! One memory of a simulated module.

use crate::bus::{Lane, Levels, Nanos, Width, Word, WordAddress};

/// What kind of memory it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MemoryKind {
    /// Flash. Commands are not simulated yet: it reads, and a write is ignored and booked.
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
}

impl MemoryConfig {
    /// The data lines it drives.
    pub fn lane(&self) -> Lane {
        Lane { first: self.first_line, bits: self.width.bits() as u8 }
    }
}

/// A memory with its contents.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    pub(super) config: MemoryConfig,
    words: Vec<Word>,
}

impl Memory {
    /// A blank one: every bit high.
    pub(super) fn blank(config: MemoryConfig) -> Self {
        let words = vec![config.width.ones(); config.words as usize];
        Self { config, words }
    }

    /// The words from here on, if `address` is one of its own.
    pub(super) fn from(&self, address: WordAddress) -> Option<&[Word]> {
        self.words
            .get(address.0.checked_sub(self.config.base.0)? as usize..)
            .filter(|words| !words.is_empty())
    }

    pub(super) fn word_mut(&mut self, address: WordAddress) -> Option<&mut Word> {
        self.words.get_mut(address.0.checked_sub(self.config.base.0)? as usize)
    }

    /// Every word anew, from a function of nothing.
    pub(super) fn refill(&mut self, mut word: impl FnMut() -> Word) {
        let ones = self.config.width.ones();
        self.words.iter_mut().for_each(|old| *old = word() & ones);
    }

    /// Little-endian words put at its start; false if they are too many.
    pub(super) fn set(&mut self, bytes: &[u8]) -> bool {
        let width = self.config.width;
        let fits = bytes.len() <= self.words.len() * width.bytes();
        if fits {
            self.words.iter_mut().zip(width.words(bytes)).for_each(|(old, new)| *old = new);
        }
        fits
    }

    /// Its contents as little-endian words.
    pub(super) fn bytes(&self) -> Vec<u8> {
        let width = self.config.width;
        let mut out = Vec::with_capacity(self.words.len() * width.bytes());
        self.words.iter().for_each(|word| width.put(*word, &mut out));
        out
    }
}
