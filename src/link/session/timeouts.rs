//! When a session wants to be called, and what it does then.

use super::{ATTEMPTS, KEEP_ALIVE, Session};
use crate::bus::Nanos;
use crate::link::asked::Flying;
use crate::wire::Request;

impl Session {
    /// When [`handle_timeout`](Self::handle_timeout) wants to be called next.
    pub fn poll_timeout(&self) -> Option<Nanos> {
        let flying = self.flying.iter().map(|f| self.due(f));
        let wakes = self.wakes.iter().copied();
        let ping = self.ping_due();
        flying.chain(wakes).chain(ping).min()
    }

    fn due(&self, flying: &Flying) -> Nanos {
        match flying.once {
            Some(_) => flying.deadline,
            // Answers to what was asked before do not keep the dead-man off: a lost PING is not
            // waited for.
            None if flying.request == Request::Ping && flying.attempts < ATTEMPTS => {
                flying.deadline
            }
            None => flying.deadline.max(self.last_heard + self.patience()),
        }
    }

    fn ping_due(&self) -> Option<Nanos> {
        let quiet = self.boot_id.is_some() && self.ping.is_none() && self.lost.is_none();
        quiet.then(|| self.last_sent + KEEP_ALIVE)
    }

    /// Repeats what has waited too long and keeps the adapter's dead-man content.
    pub fn handle_timeout(&mut self, now: Nanos) {
        self.set_now(now);
        self.wakes.retain(|&at| at > now);
        while let Some(at) = self.flying.iter().position(|f| self.due(f) <= now) {
            let flying = self.flying.swap_remove(at);
            self.stats.timeouts += u64::from(flying.once.is_none());
            self.repeat(flying);
        }
        if self.ping_due().is_some_and(|due| due <= now) {
            self.ping = Some(self.submit(Request::Ping));
        }
    }
}
