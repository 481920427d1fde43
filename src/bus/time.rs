//! Time and line rate as plain values.

use std::fmt;
use std::ops::{Add, AddAssign, Mul, Sub};

/// A point in time or a duration, in nanoseconds.
///
/// The zero point is the caller's: the start of the program in real time, the start of the
/// scenario in simulated time. 64 bits last for 584 years.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Nanos(pub u64);

impl Nanos {
    /// The zero point, or no time at all.
    pub const ZERO: Self = Self(0);

    /// A duration given in microseconds.
    pub const fn from_micros(us: u64) -> Self {
        Self(us * 1_000)
    }

    /// A duration given in milliseconds.
    pub const fn from_millis(ms: u64) -> Self {
        Self(ms * 1_000_000)
    }

    /// A duration given in seconds.
    pub const fn from_secs(s: u64) -> Self {
        Self(s * 1_000_000_000)
    }

    /// The time that `cycles` of a clock of `hz` take, rounded up.
    pub const fn from_cycles(cycles: u64, hz: u32) -> Self {
        // Wide, so that no count of cycles overflows; what does not fit is for ever.
        let hz = if hz == 0 { 1 } else { hz as u128 };
        let nanos = (cycles as u128 * 1_000_000_000).div_ceil(hz);
        Self(if nanos > u64::MAX as u128 { u64::MAX } else { nanos as u64 })
    }

    /// Whole milliseconds, rounded down.
    pub const fn as_millis(self) -> u64 {
        self.0 / 1_000_000
    }

    /// Seconds with their fraction.
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }

    /// The time from `earlier` to here, zero if `earlier` is later.
    pub const fn since(self, earlier: Self) -> Self {
        Self(self.0.saturating_sub(earlier.0))
    }
}

impl Add for Nanos {
    type Output = Self;
    fn add(self, rhs: Self) -> Self {
        Self(self.0.saturating_add(rhs.0))
    }
}

impl AddAssign for Nanos {
    fn add_assign(&mut self, rhs: Self) {
        *self = *self + rhs;
    }
}

impl Sub for Nanos {
    type Output = Self;
    fn sub(self, rhs: Self) -> Self {
        Self(self.0.saturating_sub(rhs.0))
    }
}

impl Mul<u64> for Nanos {
    type Output = Self;
    fn mul(self, rhs: u64) -> Self {
        Self(self.0.saturating_mul(rhs))
    }
}

impl From<Nanos> for std::time::Duration {
    fn from(value: Nanos) -> Self {
        Self::from_nanos(value.0)
    }
}

/// The rate of an asynchronous serial line, in bits a second.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Baud(pub u32);

impl Baud {
    /// The time that `bytes` take on the line at 8N1: ten bits a byte, rounded up.
    pub const fn time_of(self, bytes: u64) -> Nanos {
        Nanos::from_cycles(bytes.saturating_mul(10), self.0)
    }

    /// Bytes a second at 8N1.
    pub fn bytes_per_second(self) -> f64 {
        f64::from(self.0) / 10.0
    }
}

impl fmt::Display for Baud {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} baud", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 8N1 moves ten bits a byte: 4,194,304 x 10 / 250,000 = 168 s for 4 MiB at 250 kbaud.
    #[test]
    fn line_arithmetic_of_8n1() {
        assert_eq!(Baud(250_000).time_of(4 << 20).as_millis(), 167_772);
        assert!((Baud(115_200).bytes_per_second() - 11_520.0).abs() < f64::EPSILON);
        assert_eq!(Baud(1_000_000).time_of(1), Nanos::from_micros(10));
    }

    #[test]
    fn cycles_round_up() {
        assert_eq!(Nanos::from_cycles(1, 16_000_000), Nanos(63));
        assert_eq!(Nanos::from_cycles(16, 16_000_000), Nanos(1_000));
    }
}
