//! What the adapter's work costs on its clock: clock cycles of the kit's machine code at 16 MHz.
//!
//! `tests/kit_costs.rs` gives the same requests to the machine code, run cycle by cycle in simavr, and
//! to the simulated adapter, and holds what is charged here to what it measures there.

mod reads;
mod scripts;

use crate::bus::{Baud, Nanos, ShapeTimes};
use crate::wire::{AtomicTimes, Kind};
pub(super) use reads::Burst;
pub(super) use scripts::{Price, Prices};

/// A byte that comes in: its interrupt, COBS, the checksum of its frame.
const BYTE_IN: u64 = 88;
/// PING, its bytes left out: its answer is made between two others.
const PING: u64 = 9_900;
/// Where nothing else has been measured.
const REQUEST: u64 = 8_000;
/// A cycle of REPEAT beside the times of its shape. Assumed.
const REPEAT: u64 = 60;
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

    /// The time of so many clock cycles of work.
    pub(super) fn time(self, cycles: u64) -> Nanos {
        if self.charged { self.time_of(u128::from(cycles)) } else { Nanos::ZERO }
    }

    /// The time of `count` pieces of work; 128 bits, since a DIGEST may be asked for 2^32 words.
    pub(super) fn times_over(self, count: u32, cycles: u64) -> Nanos {
        if self.charged {
            self.time_of(u128::from(count) * u128::from(cycles))
        } else {
            Nanos::ZERO
        }
    }

    fn time_of(self, cycles: u128) -> Nanos {
        let ns = (cycles * 1_000_000_000).div_ceil(u128::from(self.hz));
        Nanos(u64::try_from(ns).unwrap_or(u64::MAX))
    }

    /// Cycles of a request beside its bytes and what it asks for: judging it, heading its answer.
    pub(super) fn request(kind: Kind) -> u64 {
        match kind {
            Kind::READ => 6_550,
            Kind::DIGEST => 8_300,
            Kind::RUN => 14_500,
            // Both are looked at byte by byte, which costs more where there are more of them.
            Kind::SHAPE => 22_000,
            Kind::SCRIPT => scripts::STORE,
            Kind::PERMIT => 9_000,
            _ => REQUEST,
        }
    }

    /// Cycles in which nothing but these bytes is taken in.
    pub(super) fn bytes_in(count: usize) -> u64 {
        BYTE_IN * count as u64
    }

    /// Cycles of a PING that is answered between two other frames.
    pub(super) fn ping() -> u64 {
        PING
    }

    /// What a cycle of REPEAT costs.
    pub(super) fn repeated() -> Price {
        Price::each(REPEAT)
    }

    /// The processor's time for the longest operation of a script, and on top of it for a cycle.
    pub(super) fn longest(self) -> (Nanos, Nanos) {
        let of = |cycles| self.time_of(u128::from(cycles));
        (of(scripts::LONGEST), of(scripts::CYCLE))
    }

    /// The same of the operations that are made quickly inside `atomic`.
    pub(super) fn in_atomic(self) -> AtomicTimes {
        let of = |cycles| self.time_of(u128::from(cycles));
        AtomicTimes { operation: of(scripts::ATOMIC_OP), cycle: of(scripts::ATOMIC_CYCLE) }
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
}
