//! What hand-made write cycles of a flash space would do, before they are made.
//!
//! A person may poke a chip that nobody has identified, so every write is judged by the commands
//! of all families at once, chip by chip, with the order of data and address lines undone. Only the
//! values count: parts differ in where they want their unlock cycles, and some look at the values
//! only. What is called harmless is so for every family; the worst that any family makes of it is
//! what is said. One thing nobody can see: a page-write part whose protection is off takes any plain
//! write for data.

mod intel;
#[cfg(test)]
mod tests;
mod unlock;
mod verdict;

pub use verdict::{Act, Verdict};

use super::{Family, Wiring};
use crate::bus::{Lane, Width, Word};
use std::collections::BTreeSet;

/// Values that may still be part of a command: the longest has six.
const REMEMBERED: usize = 5;

/// What a chip may be in after what it has seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum State {
    /// The unlock bypass.
    Bypass,
    /// A write buffer waits for its end by 29.
    UnlockedBuffer,
    /// A write buffer waits for its end by D0.
    CodeBuffer,
    /// An erase or a program is suspended, or waits for a further sector.
    Begun,
    /// A page is loading.
    Page,
    /// The protection of a page-write part is off.
    Unprotected,
}

/// What one chip has seen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Seen {
    /// The last values, the newest last.
    last: Vec<u8>,
    states: BTreeSet<State>,
}

impl Seen {
    /// True if these were the last values.
    fn ends(&self, values: &[u8]) -> bool {
        self.last.ends_with(values)
    }

    fn may_be(&self, state: State) -> bool {
        self.states.contains(&state)
    }

    fn enter(&mut self, state: State, if_so: bool) {
        if if_so {
            self.states.insert(state);
        }
    }

    fn leave(&mut self, state: State, if_so: bool) {
        if if_so {
            self.states.remove(&state);
        }
    }
}

/// Watches hand-made write cycles of one flash space, across console lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recogniser {
    chips: Vec<Wiring>,
    seen: Vec<Seen>,
    families: Vec<Family>,
}

impl Recogniser {
    /// Nothing has been written since the rail came on. Without `chips`, every eight lines of the
    /// word may be a chip, or the lower half of one.
    pub fn new(chips: Vec<Wiring>, width: Width) -> Self {
        let lanes = (0..width.bytes() as u8).map(|n| Lane { first: n * 8, bits: 8 });
        let chips = if chips.is_empty() { lanes.map(Wiring::straight).collect() } else { chips };
        Self { seen: vec![Seen::default(); chips.len()], chips, families: Family::ALL.to_vec() }
    }

    /// The same for chips that are known to follow one of these families: only their commands
    /// count.
    #[must_use]
    pub fn of_families(self, families: &[Family]) -> Self {
        Self { families: families.to_vec(), ..self }
    }

    /// What this write would do, in the worst chip. `offset` counts from the base of the space.
    pub fn would(&self, offset: u32, word: Word) -> Verdict {
        let chips = self.chips.iter().zip(&self.seen).enumerate();
        let judged = chips.map(|(chip, (wiring, seen))| {
            let value = wiring.get(word) as u8;
            let at = wiring.chip_address(offset);
            let (act, family, command) = self.judge(seen, value);
            Verdict { chip, at, value, act, family, command }
        });
        // Of equals the first.
        let worst = judged.reduce(|worst, next| if next.act > worst.act { next } else { worst });
        worst.unwrap_or_default()
    }

    /// The write has been made.
    pub fn saw(&mut self, offset: u32, word: Word) -> Verdict {
        let verdict = self.would(offset, word);
        for (wiring, seen) in self.chips.iter().zip(&mut self.seen) {
            let value = wiring.get(word) as u8;
            unlock::take(seen, value);
            intel::take(seen, value);
            seen.last.push(value);
            let over = seen.last.len().saturating_sub(REMEMBERED);
            seen.last.drain(..over);
        }
        verdict
    }

    /// Nothing was written for a millisecond or longer: no page loads any more.
    pub fn paused(&mut self) {
        self.seen.iter_mut().for_each(|seen| seen.leave(State::Page, true));
    }

    fn judge(&self, seen: &Seen, value: u8) -> (Act, Option<Family>, &'static str) {
        let all = self.families.iter().map(|&family| match family {
            Family::Intel => (intel::judge(seen, value), family),
            _ => (unlock::judge(seen, value, family), family),
        });
        let worst = all.reduce(|a, b| if b.0.0 > a.0.0 { b } else { a });
        match worst {
            Some(((act, command), family)) if act > Act::Harmless => (act, Some(family), command),
            _ => (Act::Harmless, None, ""),
        }
    }
}
