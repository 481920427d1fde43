//! Words that are read: sent, or summed.

use super::Costs;
use crate::bus::{Precharge, Shape, Span, Width};

/// The times of the shape with which everything was measured; what is longer costs more.
const MEASURED: [u64; 5] = [2, 3, 1, 1, 1];
/// The longest times, set-up first, at which words come by loops made for them.
const QUICK: [u64; 5] = [20, 38, 5, 6, 12];
/// And those at which words like the one before go faster, if charged to zeros, upwards.
const SHORT: [u64; 5] = [2, 38, 5, 3, 4];

/// Such a word of 32 bits, read and sent as it is.
const WORD: u64 = 253;
/// More of it with a charge to ones.
const ONES: u64 = 21;
/// A word like the one before, run-coded: short, not charged, otherwise.
const LIKE: [u64; 3] = [32, 62, 83];
/// More of the first such word.
const RUN: u64 = 1_650;
/// A byte that is left when the reply is complete: it leaves by an interrupt of its own.
const LEFT: u64 = 14;
/// So many are left at most: a block of COBS.
const BLOCK: usize = 254;
/// Such a word that a checksum is made of, and more of it with a charge.
const SUMMED: u64 = 121;
const SUMMED_CHARGE: u64 = 16;

/// Before the first word of such loops.
const SET_UP: u64 = 750;

/// The same of words of 8 and 16 bits: of each, of each byte, of its charge.
const NARROW: [u64; 3] = [30, 81, 22];
/// One like the one before without its charge, and more of the first such.
const NARROW_LIKE: u64 = 63;
const NARROW_RUN: u64 = 1_400;
/// The same of a checksum.
const NARROW_SUMMED: [u64; 3] = [39, 36, 22];

/// Words of other times and data lines come one by one: of each, of each byte, of its charge.
const SLOW: [u64; 3] = [345, 86, 272];
/// Less of one like the one before, and more of the first such.
const SLOW_LIKE: u64 = 140;
const SLOW_RUN: u64 = 700;
/// The same of a checksum.
const SLOW_SUMMED: [u64; 3] = [355, 47, 293];
/// Less of one that takes all data lines.
const SLOW_WHOLE: u64 = 115;

/// What is read.
#[derive(Clone, Copy, Debug)]
pub(in crate::sim) struct Burst {
    /// By this shape.
    pub(in crate::sim) shape: Shape,
    /// Before each word.
    pub(in crate::sim) precharge: Precharge,
    /// Where.
    pub(in crate::sim) span: Span,
}

impl Burst {
    fn charged(&self) -> bool {
        self.precharge != Precharge::None
    }
}

/// How words come.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Loops {
    /// One by one.
    None,
    /// By loops made for words of 8 and 16 bits.
    Narrow,
    /// By loops made for words of 32 bits.
    Wide,
}

impl Costs {
    /// Cycles of a READ of these words, of which `sent` bytes go out; run-coded if `coded`.
    pub(in crate::sim) fn read(self, burst: &Burst, raw: &[u8], coded: bool, sent: usize) -> u64 {
        let bytes = burst.shape.width.bytes();
        let words: Vec<&[u8]> = raw.chunks_exact(bytes).collect();
        let like = |n: usize| coded && n > 0 && words[n] == words[n - 1];
        let likes = (0..words.len()).filter(|&n| like(n)).count() as u64;
        let runs = (0..words.len()).filter(|&n| like(n) && !like(n - 1)).count() as u64;
        let others = words.len() as u64 - likes;
        let (word, alike, run) = self.prices(burst);
        let set_up = if self.loops(&burst.shape) == Loops::None { 0 } else { SET_UP };
        set_up + others * word + likes * alike + runs * run + LEFT * sent.min(BLOCK) as u64
    }

    /// Cycles of one word that a checksum is made of.
    pub(in crate::sim) fn summed(self, burst: &Burst) -> u64 {
        match self.loops(&burst.shape) {
            // The word is read while the one before is summed up.
            Loops::Wide => SUMMED + if burst.charged() { SUMMED_CHARGE } else { 0 },
            Loops::Narrow => priced(NARROW_SUMMED, burst) + self.longer(burst),
            Loops::None => priced(SLOW_SUMMED, burst) - whole(burst) + self.longer(burst),
        }
    }

    /// Of a word, of one like the one before, and more of the first such.
    fn prices(self, burst: &Burst) -> (u64, u64, u64) {
        let longer = self.longer(burst);
        match self.loops(&burst.shape) {
            Loops::None => {
                let word = priced(SLOW, burst) - whole(burst) + longer;
                (word, word - SLOW_LIKE, SLOW_RUN)
            }
            Loops::Narrow => {
                let like = NARROW_LIKE + if burst.charged() { NARROW[2] } else { 0 };
                (priced(NARROW, burst) + longer, like + longer, NARROW_RUN)
            }
            Loops::Wide => {
                let ones = if burst.precharge == Precharge::Ones { ONES } else { 0 };
                let short = self.all_within(&burst.shape, SHORT) && burst.span.step == 1;
                let like = match burst.precharge {
                    Precharge::Zeros if short => 0,
                    Precharge::None => 1,
                    _ => 2,
                };
                (WORD + ones + longer, LIKE[like] + longer, RUN)
            }
        }
    }

    /// How words of this shape come.
    pub(super) fn loops(self, shape: &Shape) -> Loops {
        if !shape.first_line.is_multiple_of(8) || !self.all_within(shape, QUICK) {
            return Loops::None;
        }
        if shape.width == Width::W32 { Loops::Wide } else { Loops::Narrow }
    }

    fn all_within(self, shape: &Shape, longest: [u64; 5]) -> bool {
        self.cycles(&shape.times).iter().zip(longest).all(|(time, most)| *time <= most)
    }

    /// Clock cycles by which the bus takes longer than with the measured shape. Shorter ones gain
    /// nothing: so much passes in any case.
    fn longer(self, burst: &Burst) -> u64 {
        let times = self.cycles(&burst.shape.times);
        let over = |n: usize| times[n].saturating_sub(MEASURED[n]);
        let charge = if burst.charged() { over(0) + over(4) } else { 0 };
        (0..4).map(over).sum::<u64>() + charge
    }
}

/// Of a word, of each byte of it, of its charge.
fn priced([word, byte, charge]: [u64; 3], burst: &Burst) -> u64 {
    word + byte * burst.shape.width.bytes() as u64 + if burst.charged() { charge } else { 0 }
}

/// What one of all data lines saves.
fn whole(burst: &Burst) -> u64 {
    if burst.shape.width == Width::W32 { SLOW_WHOLE } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::{Levels, Nanos, Phases, ShapeTimes, WordAddress};

    const COSTS: Costs = Costs { hz: 16_000_000, charged: true };

    fn burst(width: Width, pulse: u16, precharge: Precharge) -> Burst {
        let times = ShapeTimes { setup: 70, pulse, hold: 10, recover: 20, release: 60 };
        let low = |mask| Levels { mask, level: 0 };
        let idle = Levels { mask: 15, level: 15 };
        let read = Phases { setup: low(4), strobe: low(1) };
        let shape = Shape { width, first_line: 0, idle, read, write: None, times };
        Burst { shape, precharge, span: Span::up(WordAddress(0), 4) }
    }

    #[test]
    fn words_of_whole_ports_come_by_loops_of_their_own() {
        let price = |width, pulse, precharge| COSTS.prices(&burst(width, pulse, precharge)).0;
        assert_eq!(price(Width::W32, 150, Precharge::None), 253);
        assert_eq!(price(Width::W32, 150, Precharge::Ones), 274);
        assert_eq!(price(Width::W32, 1_000, Precharge::None), 253 + 13);
        assert_eq!(price(Width::W32, 3_000, Precharge::None), 574 + 45);
        assert_eq!(price(Width::W16, 150, Precharge::Zeros), 192 + 22);
        assert_eq!(price(Width::W16, 3_000, Precharge::Zeros), 517 + 272 + 45);
        assert_eq!(COSTS.summed(&burst(Width::W32, 150, Precharge::Zeros)), 137);
        assert_eq!(COSTS.summed(&burst(Width::W8, 150, Precharge::None)), 75);
        let mut aside = burst(Width::W8, 150, Precharge::None);
        aside.shape.first_line = 3;
        assert_eq!(COSTS.summed(&aside), 402);
    }

    #[test]
    fn words_like_the_one_before_cost_less_only_where_they_are_run_coded() {
        let burst = burst(Width::W32, 150, Precharge::Zeros);
        let raw: Vec<u8> = [1_u32, 7, 7, 7, 2, 3, 3].iter().flat_map(|n| n.to_le_bytes()).collect();
        assert_eq!(COSTS.read(&burst, &raw, false, 28), 750 + 7 * 253 + 28 * 14);
        assert_eq!(
            COSTS.read(&burst, &raw, true, 20),
            750 + 4 * 253 + 3 * 32 + 2 * 1_650 + 20 * 14
        );
        assert_eq!(COSTS.read(&burst, &[], true, 0), 750);
    }

    #[test]
    fn time_goes_by_the_clock_and_does_not_overflow() {
        assert_eq!(COSTS.time(32_000), Nanos::from_millis(2));
        assert_eq!(Costs { hz: 8_000_000, ..COSTS }.time(32_000), Nanos::from_millis(4));
        assert!(COSTS.times_over(u32::MAX, 150) > Nanos::from_secs(40_000));
        assert_eq!(Costs { charged: false, ..COSTS }.time(32_000), Nanos::ZERO);
    }
}
