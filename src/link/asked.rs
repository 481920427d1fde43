//! What a session has been asked for: requests that wait and requests on their way.

use super::Ticket;
use crate::bus::{Baud, Nanos};
use crate::wire::Request;

/// What the port must do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Transmit {
    /// Send these bytes.
    Bytes(Vec<u8>),
    /// Change the line rate.
    Rate(Baud),
}

/// A request that has not been sent.
pub(super) struct Waiting {
    pub ticket: Ticket,
    pub request: Request,
    /// Its frame on the line; looked at whenever something may have made room.
    pub bytes: usize,
    /// A single try with this time instead of repeats.
    pub once: Option<Nanos>,
}

/// A request that has been sent.
pub(super) struct Flying {
    pub ticket: Ticket,
    pub request: Request,
    pub once: Option<Nanos>,
    pub tag: u8,
    /// Counts transmissions: a reply to a later queued one proves this one lost.
    pub order: u64,
    pub bytes: usize,
    pub deadline: Nanos,
    /// What adapter and line need for it, if it waits its turn.
    pub work: Nanos,
    pub attempts: u32,
    pub first_sent: Nanos,
}

impl Waiting {
    /// The same about to be sent.
    pub fn take_off(self, now: Nanos) -> Flying {
        let Self { ticket, request, bytes, once } = self;
        Flying {
            ticket,
            request,
            once,
            tag: 0,
            order: 0,
            bytes,
            deadline: Nanos::ZERO,
            work: Nanos::ZERO,
            attempts: 0,
            first_sent: now,
        }
    }
}
