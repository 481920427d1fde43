//! What the adapter's work costs on its clock.

use crate::bus::{Baud, Nanos, Precharge, ShapeTimes};

/// Clock cycles to read a 32-bit word and add it to a frame's checksum, from a prototype's
/// machine code run cycle by cycle in simavr (processor floor of the word stream).
const WORD: u64 = 125;
/// More of them with a precharge. Assumed.
const PRECHARGE: u64 = 25;
/// A precharged word of a DIGEST: 137 cycles in all, measured on the kit's machine code
/// (`tests/kit_machine.rs`).
const DIGEST_PRECHARGE: u64 = 12;
/// Bus time that `WORD` already holds: select, strobe and sample at the shortest times.
const INCLUDED: u64 = 3;
/// Per request: taking the frame apart, checking, heading the reply. Assumed, not measured.
const REQUEST: u64 = 2_000;
/// Per bus cycle of a script, and per operation without one, on top of the shape's times. Assumed
/// until the kit's own interpreter has been measured.
const SCRIPT: u64 = 60;
/// Set-up, pulse, hold, recover, release at the least, in clock cycles. The pulse is two because
/// an input synchroniser shows the pin of 1.5 clock periods before (datasheet of the AVR family).
const SHORTEST: [u64; 5] = [1, 2, 0, 0, 1];

/// Turns work into time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Costs {
    hz: u64,
    charged: bool,
}

impl Costs {
    pub(super) fn new(clock_hz: u32, charged: bool) -> Self {
        Self { hz: u64::from(clock_hz.max(1)), charged }
    }

    /// False: work takes no time.
    pub(super) fn charged(self) -> bool {
        self.charged
    }

    /// The time of one request and `words` words at `per_word` cycles each.
    pub(super) fn request(self, words: u64, per_word: u64) -> Nanos {
        if !self.charged {
            return Nanos::ZERO;
        }
        // 128 bits: a DIGEST may be asked for 2^32 words.
        let cycles = u128::from(REQUEST) + u128::from(words) * u128::from(per_word);
        let ns = (cycles * 1_000_000_000).div_ceil(u128::from(self.hz));
        Nanos(u64::try_from(ns).unwrap_or(u64::MAX))
    }

    /// Clock cycles of one word that is read and sent.
    pub(super) fn per_word(self, times: &ShapeTimes, precharge: Precharge) -> u64 {
        self.word(times, precharge, PRECHARGE)
    }

    /// Clock cycles of one word that a checksum is made of.
    pub(super) fn per_digest_word(self, times: &ShapeTimes, precharge: Precharge) -> u64 {
        self.word(times, precharge, DIGEST_PRECHARGE)
    }

    fn word(self, times: &ShapeTimes, precharge: Precharge, charging: u64) -> u64 {
        let [setup, pulse, hold, recover, release] = self.cycles(times);
        let bus = (setup + pulse + hold + recover).saturating_sub(INCLUDED);
        match precharge {
            Precharge::None => WORD + bus,
            _ => WORD + bus + charging + release.saturating_sub(INCLUDED),
        }
    }

    /// The processor's time for a bus cycle, or an operation, of a script.
    pub(super) fn script(self) -> Nanos {
        Nanos((SCRIPT * 1_000_000_000).div_ceil(self.hz))
    }

    /// The shortest times of a cycle.
    pub(super) fn shortest(self) -> ShapeTimes {
        self.times(SHORTEST)
    }

    /// The times really made for those asked for: whole clock cycles, never shorter.
    pub(super) fn round_up(self, asked: &ShapeTimes) -> ShapeTimes {
        let mut cycles = self.cycles(asked);
        cycles.iter_mut().zip(SHORTEST).for_each(|(n, least)| *n = (*n).max(least));
        self.times(cycles)
    }

    fn cycles(self, t: &ShapeTimes) -> [u64; 5] {
        [t.setup, t.pulse, t.hold, t.recover, t.release]
            .map(|ns| (u64::from(ns) * self.hz).div_ceil(1_000_000_000))
    }

    /// Whole nanoseconds, rounded down: still not below what was asked in whole nanoseconds, and
    /// the same again when it is asked for.
    fn times(self, cycles: [u64; 5]) -> ShapeTimes {
        let [setup, pulse, hold, recover, release] =
            cycles.map(|n| u16::try_from(n * 1_000_000_000 / self.hz).unwrap_or(u16::MAX));
        ShapeTimes { setup, pulse, hold, recover, release }
    }
}

/// The time of `bytes` on the line; none on a line without a rate.
pub(super) fn line_time(rate: Baud, bytes: u64) -> Nanos {
    if rate.0 == 0 { Nanos::ZERO } else { rate.time_of(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_never_shorter_than_asked_and_stay_when_asked_again() {
        for hz in [1_000_000, 7_372_800, 8_000_000, 16_000_000, 20_000_000] {
            let costs = Costs::new(hz, true);
            for ns in (0..2_000).chain([65_534, 65_535]) {
                let asked = ShapeTimes { setup: ns, pulse: ns, hold: ns, recover: ns, release: ns };
                let used = costs.round_up(&asked);
                assert!(used.hold >= ns && used.setup >= ns && used.pulse >= ns);
                assert_eq!(costs.round_up(&used), used, "{ns} ns at {hz}");
            }
        }
    }

    #[test]
    fn words_cost_what_was_measured_and_slow_shapes_more() {
        let costs = Costs::new(16_000_000, true);
        let fast = costs.shortest();
        assert_eq!(costs.per_word(&fast, Precharge::None), 125);
        assert_eq!(costs.per_word(&fast, Precharge::Ones), 150);
        assert_eq!(costs.per_digest_word(&fast, Precharge::Ones), 137);
        let slow = ShapeTimes { pulse: 1_000, ..fast };
        assert_eq!(costs.per_word(&slow, Precharge::None), 125 + 14);
        assert_eq!(costs.request(256, 125), Nanos(2_125_000));
        assert!(costs.request(u64::from(u32::MAX), 150) > Nanos::from_secs(40_000));
    }
}
