//! What jobs await.

use super::session::{Session, Ticket};
use super::{LinkError, LinkStats};
use crate::bus::{Baud, Nanos};
use crate::wire::{HelloReply, Reply, Request};
use std::cell::RefCell;
use std::future::poll_fn;
use std::rc::Rc;
use std::task::Poll;

/// A handle on a [`Session`] for asynchronous code in the thread that drives it.
///
/// Its futures register no waker: [`super::drive`] polls the job after everything that happens.
#[derive(Clone)]
pub struct Client {
    session: Rc<RefCell<Session>>,
}

impl Client {
    /// A handle on `session`.
    pub fn new(session: Session) -> Self {
        Self { session: Rc::new(RefCell::new(session)) }
    }

    pub(super) fn with<T>(&self, f: impl FnOnce(&mut Session) -> T) -> T {
        f(&mut self.session.borrow_mut())
    }

    /// The driver's time.
    pub fn now(&self) -> Nanos {
        self.with(|s| s.now())
    }

    /// What has been counted.
    pub fn stats(&self) -> LinkStats {
        self.with(|s| s.stats())
    }

    /// The host's session number.
    pub fn number(&self) -> u32 {
        self.with(|s| s.number())
    }

    /// How long a HELLO and its answer took.
    pub fn round_trip(&self) -> Nanos {
        self.with(|s| s.round_trip())
    }

    /// The line rate; `None` where the line has none.
    pub fn baud(&self) -> Option<Baud> {
        self.with(|s| s.baud())
    }

    /// Takes the adapter's sizes from HELLO.
    pub fn open(&self, hello: &HelloReply) {
        self.with(|s| s.open(hello));
    }

    /// Changes the line rate.
    pub fn set_rate(&self, rate: Baud) {
        self.with(|s| s.set_rate(rate));
    }

    /// Why nothing more can be asked, once that is so.
    pub fn lost(&self) -> Option<LinkError> {
        self.with(|s| s.lost().cloned())
    }

    /// What a rail that is off means after this host was silent for long.
    pub fn dead_man(&self) -> Option<LinkError> {
        self.with(|s| s.dead_man())
    }

    /// Tries once more after silence.
    pub fn reopen(&self) {
        self.with(Session::reopen);
    }

    /// Asks without waiting.
    pub fn submit(&self, request: Request) -> Ticket {
        self.with(|s| s.submit(request))
    }

    /// Wants no answer to `ticket` any more.
    pub fn forget(&self, ticket: Ticket) {
        self.with(|s| s.forget(ticket));
    }

    /// Waits for the answer to `ticket`.
    pub async fn finish(&self, ticket: Ticket) -> Result<Reply, LinkError> {
        poll_fn(|_| match self.with(|s| s.take_result(ticket)) {
            Some(result) => Poll::Ready(result),
            None => Poll::Pending,
        })
        .await
    }

    /// Asks and waits; repeats until there is an answer or the session ends.
    pub async fn call(&self, request: Request) -> Result<Reply, LinkError> {
        let ticket = self.submit(request);
        self.finish(ticket).await
    }

    /// Asks once and waits at most `patience`.
    pub async fn call_once(&self, request: Request, patience: Nanos) -> Result<Reply, LinkError> {
        let ticket = self.with(|s| s.submit_once(request, patience));
        self.finish(ticket).await
    }

    /// Waits for `time` of the driver's clock, or until nothing can be asked any more: where the
    /// port is gone, its clock may stand still.
    pub async fn sleep(&self, time: Nanos) {
        let until = self.now() + time;
        self.with(|s| s.wake_at(until));
        let over = || self.now() >= until || self.lost().is_some();
        poll_fn(|_| if over() { Poll::Ready(()) } else { Poll::Pending }).await;
    }
}
