//! The time of a served bench.

use crate::bus::Nanos;
use crate::sim::Bench;
use std::time::{Duration, Instant};

/// Real time that stands still while the bench is at work.
///
/// What is plugged in may be slower than the bench has it: an emulator is a process of its own.
/// Then nothing may fall due for that reason alone, such as the dead-man.
pub(super) struct BenchClock {
    since: Instant,
    at_work: Duration,
}

impl BenchClock {
    /// Starts it at zero.
    pub(super) fn start() -> Self {
        Self { since: Instant::now(), at_work: Duration::ZERO }
    }

    /// The time now.
    pub(super) fn now(&self) -> Nanos {
        Nanos(self.since.elapsed().saturating_sub(self.at_work).as_nanos() as u64)
    }

    /// Has `bench` do `step` at the time of the next thing that is due, now at the latest.
    ///
    /// One thing at a time, so that whoever serves it looks at the line in between: a PING is
    /// answered while checksums are made.
    pub(super) fn step<T>(
        &mut self,
        bench: &mut Bench,
        step: impl FnOnce(&mut Bench, Nanos) -> T,
    ) -> T {
        let (begun, now) = (Instant::now(), self.now());
        let at = bench.poll_timeout().map_or(now, |due| due.min(now));
        let result = step(bench, at);
        self.at_work += begun.elapsed();
        result
    }
}
