//! A simulated bench as a port whose clock jumps to the next thing that happens.

use crate::bus::Nanos;
use crate::link::{Port, PortLost, Transmit};
use crate::sim::Bench;

/// A simulated bench in simulated time: minutes of line in a second of wall time.
pub struct SimPort {
    bench: Bench,
    now: Nanos,
}

impl SimPort {
    /// Plugs in at time zero; a host opens the port.
    pub fn new(mut bench: Bench) -> Self {
        bench.open(Nanos::ZERO);
        Self { bench, now: Nanos::ZERO }
    }

    /// The bench.
    pub fn bench(&self) -> &Bench {
        &self.bench
    }

    /// The bench, to make something happen to it.
    pub fn bench_mut(&mut self) -> &mut Bench {
        &mut self.bench
    }

    fn collect(&mut self, into: &mut Vec<u8>) {
        while let Some(packet) = self.bench.poll_receive(self.now) {
            into.extend(packet);
        }
    }
}

impl Port for SimPort {
    fn now(&self) -> Nanos {
        self.now
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        match what {
            Transmit::Bytes(bytes) => self.bench.host_send(self.now, &bytes),
            Transmit::Rate(rate) => self.bench.set_host_rate(self.now, rate),
        }
        Ok(())
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        loop {
            self.collect(into);
            if !into.is_empty() || until.is_some_and(|until| until <= self.now) {
                return Ok(());
            }
            if self.bench.is_unplugged(self.now) {
                return Err(PortLost);
            }
            // Nothing will ever happen: to wait on would be for ever.
            let next = until.into_iter().chain(self.bench.poll_timeout()).min().ok_or(PortLost)?;
            self.now = self.now.max(next);
            self.bench.handle_timeout(self.now);
        }
    }
}
