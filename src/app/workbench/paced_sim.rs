//! A simulated bench inside this program, in real time.

use super::handle::Attention;
use crate::bus::Nanos;
use crate::link::{Port, PortLost, Transmit};
use crate::sim::Bench;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Instant;

/// Between two looks at the bench: lets packets gather, as the reader of a real port does.
const NAP: Nanos = Nanos::from_millis(4);

/// A port to a simulated bench whose clock is that of the world.
pub(super) struct PacedSim {
    bench: Bench,
    since: Instant,
    called: Receiver<()>,
    /// Held so that the channel never closes.
    _call: SyncSender<()>,
}

impl PacedSim {
    /// Plugs in now; the second value wakes a wait.
    pub(super) fn new(mut bench: Bench) -> (Self, Attention) {
        bench.open(Nanos::ZERO);
        let (call, called) = sync_channel(1);
        let waker = call.clone();
        // A full channel means that it is awake.
        let attention: Attention = Arc::new(move || {
            let _ = waker.try_send(());
        });
        (Self { bench, since: Instant::now(), called, _call: call }, attention)
    }
}

impl Port for PacedSim {
    fn now(&self) -> Nanos {
        Nanos(self.since.elapsed().as_nanos() as u64)
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        let now = self.now();
        match what {
            Transmit::Bytes(bytes) => self.bench.host_send(now, &bytes),
            Transmit::Rate(rate) => self.bench.set_host_rate(now, rate),
        }
        Ok(())
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        loop {
            let now = self.now();
            self.bench.handle_timeout(now);
            while let Some(packet) = self.bench.poll_receive(now) {
                into.extend(packet);
            }
            if !into.is_empty() || until.is_some_and(|until| until <= now) {
                return Ok(());
            }
            if self.bench.is_unplugged(now) {
                return Err(PortLost);
            }
            let next = until.into_iter().chain(self.bench.poll_timeout()).min();
            let woken = match next {
                Some(at) => self.called.recv_timeout(at.since(now).max(NAP).into()),
                None => self.called.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match woken {
                Ok(()) => return Ok(()),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return Err(PortLost),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::BenchDescription;

    #[test]
    fn a_wait_ends_when_somebody_calls() {
        let bench = Bench::new(&BenchDescription::builtin("TG-7").unwrap(), 1);
        let (mut port, attention) = PacedSim::new(bench);
        attention();
        attention();
        let mut arrived = Vec::new();
        port.wait(None, &mut arrived).unwrap();
        assert!(arrived.is_empty());
        let until = port.now() + Nanos::from_millis(5);
        port.wait(Some(until), &mut arrived).unwrap();
        assert!(port.now() >= until, "no call is left over");
    }
}
