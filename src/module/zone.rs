//! Zones: named ranges with a meaning, and what is left of a range without some of them.

use super::Sheet;
use crate::bus::WordAddress;

/// A named range of a space.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zone {
    /// Index of its space.
    pub space: usize,
    /// Its name, unlike that of any other zone of the space.
    pub name: String,
    /// The first word, as the module's address lines count.
    pub start: WordAddress,
    /// Length in words, at least 1.
    pub words: u32,
    /// True if it is never taken from an image unless named; so for one that is kept off.
    pub keep: bool,
    /// True if its words change by themselves: they are captured, and compared with nothing.
    pub live: bool,
    /// True if it is never touched: no word of it is read or written.
    pub keep_off: bool,
}

impl Zone {
    /// The last word.
    pub const fn last(&self) -> WordAddress {
        WordAddress(self.start.0 + (self.words - 1))
    }
}

impl Sheet {
    /// The zones of a space, in sheet order.
    pub fn zones_of(&self, space: usize) -> impl Iterator<Item = &Zone> {
        self.zones.iter().filter(move |zone| zone.space == space)
    }

    /// The zone of `space` that is never touched and holds one of `words` words from `start` on,
    /// if there is one.
    pub fn kept_off(&self, space: usize, start: WordAddress, words: u32) -> Option<&Zone> {
        let last = u64::from(start.0) + u64::from(words);
        let shares =
            |zone: &&Zone| words > 0 && u64::from(zone.start.0) < last && zone.last() >= start;
        self.zones_of(space).filter(|zone| zone.keep_off).find(shares)
    }

    /// The pieces of `words` words from `start` on in `space` that are in no zone that `without`
    /// names: first word and length, in order.
    pub fn pieces(
        &self,
        space: usize,
        start: WordAddress,
        words: u32,
        without: impl Fn(&Zone) -> bool,
    ) -> Vec<(WordAddress, u32)> {
        let mut out: Vec<_> = self.zones_of(space).filter(|zone| without(zone)).collect();
        out.sort_by_key(|zone| zone.start);
        let end = u64::from(start.0) + u64::from(words);
        let mut at = u64::from(start.0);
        let mut pieces = Vec::new();
        for zone in out {
            let first = u64::from(zone.start.0).min(end);
            if first > at {
                pieces.push((WordAddress(at as u32), (first - at) as u32));
            }
            at = at.max(u64::from(zone.last().0) + 1);
        }
        if at < end {
            pieces.push((WordAddress(at as u32), (end - at) as u32));
        }
        pieces
    }
}
