//! The run chain: which run is the next, and what earlier ones came to.

use crate::wire::{Reply, RunId};
use std::collections::VecDeque;

/// The status of a run that has not ended (`docs/wire.md`, "The run chain").
pub(super) const AT_WORK: u8 = 255;

/// Where a RUN, REPEAT or HOLD of a write wants to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) id: RunId,
    pub(super) after: u32,
    /// A checksum of the whole request.
    pub(super) crc: u32,
}

/// What becomes of it.
#[derive(Debug, PartialEq)]
pub(super) enum Verdict {
    /// It is the next one.
    Execute,
    /// It has run: its reply again.
    Again(Reply),
    /// It is never executed.
    Refuse,
}

/// The run chain of the present session.
#[derive(Debug)]
pub(super) struct RunChain {
    chain: u16,
    last: u32,
    last_status: u8,
    /// The last run ended good and nothing has halted the chain since it began.
    open: bool,
    halted: bool,
    remembered: VecDeque<(RunId, u32, Reply)>,
    most: usize,
}

impl RunChain {
    /// Nothing has run; `most` replies are remembered.
    pub(super) fn new(most: u8) -> Self {
        Self {
            chain: 0,
            last: 0,
            last_status: 0,
            open: false,
            halted: false,
            remembered: VecDeque::new(),
            most: usize::from(most),
        }
    }

    /// The last run's id and status.
    pub(super) fn last(&self) -> (u32, u8) {
        (self.last, self.last_status)
    }

    /// Only a new chain goes on from here.
    pub(super) fn halt(&mut self) {
        self.halted = true;
        self.open = false;
    }

    /// What becomes of a run in session `session`.
    pub(super) fn judge(&self, session: Option<u32>, place: &Place) -> Verdict {
        let Place { id, after, crc } = *place;
        if Some(id.session) != session {
            return Verdict::Refuse;
        }
        let known = self.remembered.iter().find(|(of, sum, _)| (*of, *sum) == (id, crc));
        if let Some((_, _, reply)) = known {
            return Verdict::Again(reply.clone());
        }
        let same = id.chain == self.chain && self.open && Some(id.run) == self.last.checked_add(1);
        let new = id.chain == self.chain.wrapping_add(1) && id.run > self.last;
        if after == self.last && (same || new) { Verdict::Execute } else { Verdict::Refuse }
    }

    /// A run is begun: its id is used, whatever comes of it.
    pub(super) fn begin(&mut self, id: RunId) {
        (self.chain, self.last, self.last_status) = (id.chain, id.run, AT_WORK);
        (self.open, self.halted) = (false, false);
    }

    /// The run that was begun last has ended.
    pub(super) fn end(&mut self, place: &Place, status: u8, reply: Reply) {
        self.last_status = status;
        self.open = status == 0 && !self.halted;
        self.remembered.push_back((place.id, place.crc, reply));
        while self.remembered.len() > self.most {
            self.remembered.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::{Reply, StopReply};

    fn place(chain: u16, run: u32, after: u32) -> Place {
        Place { id: RunId { session: 7, chain, run }, after, crc: run ^ 0x55 }
    }

    /// Runs it if it is the next.
    fn offer(chain: &mut RunChain, place: &Place, status: u8) -> bool {
        let next = chain.judge(Some(7), place) == Verdict::Execute;
        if next {
            chain.begin(place.id);
            chain.end(place, status, Reply::Stop(StopReply { within_ms: place.id.run }));
        }
        next
    }

    #[test]
    fn only_the_next_run_of_a_good_chain_is_executed() {
        let mut chain = RunChain::new(2);
        assert!(!offer(&mut chain, &place(0, 1, 0), 0), "no chain has begun");
        assert!(offer(&mut chain, &place(1, 1, 0), 0));
        assert!(matches!(chain.judge(Some(7), &place(1, 1, 0)), Verdict::Again(_)));
        assert_eq!(chain.judge(Some(8), &place(1, 2, 1)), Verdict::Refuse, "another session");
        assert!(!offer(&mut chain, &place(1, 3, 2), 0), "one is missing");
        assert!(!offer(&mut chain, &place(1, 2, 0), 0), "it names another run before it");
        assert!(offer(&mut chain, &place(1, 2, 1), 5), "this one fails");
        assert!(!offer(&mut chain, &place(1, 3, 2), 0), "only a new chain goes on");
        assert!(!offer(&mut chain, &place(2, 2, 2), 0), "an id is never used again");
        assert!(!offer(&mut chain, &place(3, 9, 2), 0), "a chain was skipped");
        assert!(!offer(&mut chain, &place(2, 9, 1), 0), "it names another run before it");
        assert!(offer(&mut chain, &place(2, 9, 2), 0), "a new chain may leave ids out");
        assert!(offer(&mut chain, &place(2, 10, 9), 0));
        assert_eq!(chain.judge(Some(7), &place(1, 1, 0)), Verdict::Refuse, "forgotten");
        let other = Place { crc: 0, ..place(2, 10, 9) };
        assert_eq!(chain.judge(Some(7), &other), Verdict::Refuse, "the same id, another request");
    }

    #[test]
    fn a_halt_counts_during_a_run_and_between_runs() {
        let mut chain = RunChain::new(4);
        let first = place(1, 1, 0);
        chain.begin(first.id);
        assert_eq!(chain.last(), (1, AT_WORK));
        chain.halt();
        chain.end(&first, 0, Reply::Stop(StopReply { within_ms: 0 }));
        assert!(!offer(&mut chain, &place(1, 2, 1), 0), "it was halted while it ran");
        assert!(offer(&mut chain, &place(2, 2, 1), 0));
        chain.halt();
        assert!(!offer(&mut chain, &place(2, 3, 2), 0));
        assert!(offer(&mut chain, &place(3, 3, 2), 0));
        assert_eq!(chain.last(), (3, 0));
        let end = place(4, u32::MAX, 3);
        assert!(offer(&mut chain, &end, 0));
        assert!(!offer(&mut chain, &place(4, 0, u32::MAX), 0), "ids do not begin again");
    }
}
