//! The run chain: numbers that let a run happen once, in order, and never after a halt.

use crate::wire::{RunId, RunReply};

/// The host's side of the run chain of one session.
///
/// A run is executed only if it names the chain and the run before it. Ids never go back within a
/// session, so that a late or repeated request can never be taken for a new one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chain {
    session: u32,
    number: u16,
    /// The first id of this chain.
    first: u32,
    /// The highest id ever sent.
    highest: u32,
    /// What the next run must name as the one before it.
    after: u32,
}

impl Chain {
    /// The chain of a new session: the adapter has run nothing in it.
    pub fn new(session: u32) -> Self {
        Self { session, number: 1, first: 1, highest: 0, after: 0 }
    }

    #[expect(clippy::should_implement_trait, reason = "a chain is no row of values to go through")]
    /// The place of the next run, and the run that it follows.
    pub fn next(&mut self) -> (RunId, u32) {
        let after = self.after;
        self.highest += 1;
        self.after = self.highest;
        (RunId { session: self.session, chain: self.number, run: self.highest }, after)
    }

    /// A new chain after a halt or a run that did not end good; `last` is the last id that the
    /// adapter reports.
    pub fn renew(&mut self, last: u32) {
        // A chain of which the adapter has begun nothing is still the next one for it.
        if last >= self.first {
            self.number = self.number.wrapping_add(1);
        }
        self.after = last;
        self.highest = self.highest.max(last);
        self.first = self.highest.saturating_add(1);
    }

    /// True if any run was asked for.
    pub fn is_used(&self) -> bool {
        self.highest > 0
    }

    /// True if the chain goes on after this reply.
    pub fn goes_on(&self, reply: &RunReply) -> bool {
        reply.id.chain == self.number && reply.status == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_rise_and_a_new_chain_names_what_the_adapter_reports() {
        let mut chain = Chain::new(9);
        let (first, after) = chain.next();
        assert_eq!((first.chain, first.run, after), (1, 1, 0));
        let (second, after) = chain.next();
        assert_eq!((second.run, after), (2, 1));
        // Run 2 was sent and lost; the adapter reports 1.
        chain.renew(1);
        let (third, after) = chain.next();
        assert_eq!((third.chain, third.run, after), (2, 3, 1), "2 is never used again");
        let (fourth, after) = chain.next();
        assert_eq!((fourth.run, after), (4, 3));
        // Nothing of chain 2 has arrived: the adapter still waits for it.
        chain.renew(1);
        let (fifth, after) = chain.next();
        assert_eq!((fifth.chain, fifth.run, after), (2, 5, 1));
        chain.renew(5);
        assert_eq!(chain.next().0.chain, 3);
    }
}
