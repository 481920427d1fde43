//! The one trait through which words move.

use super::{Nanos, Shape, Word, WordAddress};
use std::fmt;

/// What the data lines are charged to before a read, so that a line nobody drives shows it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Precharge {
    /// The lines are left as they are.
    #[default]
    None,
    /// Driven low, let go, then read.
    Zeros,
    /// Driven high, let go, then read.
    Ones,
}

impl fmt::Display for Precharge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::None => "none",
            Self::Zeros => "zeros",
            Self::Ones => "ones",
        })
    }
}

/// A row of cycles: `count` addresses from `start`, `step` apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Span {
    /// The first address.
    pub start: WordAddress,
    /// Added after every cycle, in words; may be negative or zero.
    pub step: i16,
    /// How many cycles.
    pub count: u32,
}

impl Span {
    /// `count` words upwards from `start`.
    pub const fn up(start: WordAddress, count: u32) -> Self {
        Self { start, step: 1, count }
    }

    /// The same `count` words from `start`, highest first.
    pub const fn down(start: WordAddress, count: u32) -> Self {
        let last = start.0.wrapping_add(count.saturating_sub(1));
        Self { start: WordAddress(last), step: -1, count }
    }

    /// The addresses in the order the cycles are made.
    pub fn addresses(self) -> impl Iterator<Item = WordAddress> {
        let mut at = self.start.0;
        (0..self.count).map(move |_| {
            let here = WordAddress(at);
            at = at.wrapping_add_signed(i32::from(self.step));
            here
        })
    }

    /// The lowest and the highest address touched, as 64-bit numbers so that a span that would
    /// leave the address range shows; `None` for no cycles.
    pub fn bounds(self) -> Option<(i64, i64)> {
        let first = i64::from(self.start.0);
        let last = first + i64::from(self.step) * (i64::from(self.count) - 1);
        (self.count > 0).then(|| (first.min(last), first.max(last)))
    }
}

/// Something that makes bus cycles: a simulated module, an emulator, a board.
///
/// The backend owns bus time: every call moves its clock on by what the cycle takes.
pub trait Cycles {
    /// Reads the word at `address` with the control lines moved as `shape` says.
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word;

    /// Writes `value` at `address`.
    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word);

    /// Reads a row of words and appends them to `out` in the order of the cycles.
    ///
    /// A backend whose single cycles are slow overrides this to make them in one go.
    fn read_burst(&mut self, shape: &Shape, span: Span, precharge: Precharge, out: &mut Vec<Word>) {
        out.extend(span.addresses().map(|address| self.read(shape, address, precharge)));
    }

    /// Lets bus time pass without a cycle.
    fn delay(&mut self, time: Nanos);

    /// The backend's clock.
    fn now(&self) -> Nanos;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_go_both_ways_over_the_same_words() {
        let up: Vec<_> = Span::up(WordAddress(5), 3).addresses().collect();
        let mut down: Vec<_> = Span::down(WordAddress(5), 3).addresses().collect();
        down.reverse();
        assert_eq!(up, down);
        assert_eq!(Span::down(WordAddress(5), 3).bounds(), Some((5, 7)));
        let wrapping = Span { start: WordAddress(0), step: -1, count: 2 };
        assert_eq!(wrapping.bounds(), Some((-1, 0)));
        assert_eq!(Span::up(WordAddress(0), 0).bounds(), None);
    }
}
