//! Runs a job over a port: the one loop that real and simulated time share.

use super::asked::Transmit;
use super::client::Client;
use crate::bus::Nanos;
use std::future::Future;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};
use std::task::{Context, Poll, Waker};

/// The port is gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PortLost;

/// A way to an adapter, with its clock.
pub trait Port {
    /// The time now.
    fn now(&self) -> Nanos;

    /// Sends bytes or changes the rate; bytes go out with the next wait at the latest.
    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost>;

    /// Tells how many answers are to come: with many, what arrives may gather for a moment.
    fn expects(&mut self, _answers: usize) {}

    /// Waits until `until` at the latest (for ever without one) and appends what has arrived to
    /// `into`. Returns early when bytes arrive or somebody asks for attention.
    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost>;
}

/// A request to stop that jobs look at between steps; it can be given from another thread.
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<AtomicU8>);

impl Cancel {
    /// Asks once more: first for the safe state, then for an immediate end.
    pub fn request(&self) {
        let _ = self.0.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |n| n.checked_add(1));
    }

    /// The safe state is to be reached.
    pub fn is_requested(&self) -> bool {
        self.0.load(Ordering::Relaxed) >= 1
    }

    /// Nothing but STOP and rail off is to be sent any more.
    pub fn is_urgent(&self) -> bool {
        self.0.load(Ordering::Relaxed) >= 2
    }
}

/// Runs `job` to its end over `port`.
///
/// The job is polled after everything that happens; an urgent cancel aborts what it waits for,
/// once, so that it comes to its end by itself.
pub fn drive<T>(
    client: &Client,
    port: &mut dyn Port,
    cancel: &Cancel,
    job: impl Future<Output = T>,
) -> T {
    let mut job = pin!(job);
    let mut context = Context::from_waker(Waker::noop());
    let mut arrived = Vec::new();
    let mut aborted = false;
    loop {
        let now = port.now();
        client.with(|s| s.set_now(now));
        if cancel.is_requested() {
            client.with(super::Session::stop_searching);
        }
        if cancel.is_urgent() && !aborted {
            aborted = true;
            client.with(super::Session::abort);
        }
        if let Poll::Ready(result) = job.as_mut().poll(&mut context) {
            return result;
        }
        let mut port_is_there = true;
        while let Some(next) = client.with(|s| s.poll_transmit(now)) {
            port_is_there &= port.transmit(next).is_ok();
        }
        let (until, answers) = client.with(|s| (s.poll_timeout(), s.in_flight()));
        port.expects(answers);
        port_is_there &= port.wait(until, &mut arrived).is_ok();
        let now = port.now();
        client.with(|s| {
            if !arrived.is_empty() {
                s.handle_bytes(now, &arrived);
            }
            if s.poll_timeout().is_some_and(|at| at <= now) {
                s.handle_timeout(now);
            }
            if !port_is_there {
                s.unplugged();
            }
        });
        arrived.clear();
    }
}
