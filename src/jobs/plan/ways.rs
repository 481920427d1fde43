//! What the chips of a space allow: its sectors with their locks, and how they are programmed.

use crate::bus::Lane;

/// What is programmed at once, and may not hold anything yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A word of one chip.
    Word,
    /// So many words side by side, of all chips: a line of the write buffer.
    Line(u32),
    /// A page, which the chip erases by itself before: nothing is ever programmed over.
    Page(u32),
}

/// Whether a sector can be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SectorLock {
    /// It can.
    Open,
    /// It is locked, and a command unlocks it.
    Opens,
    /// It is locked, and no command that is ever sent unlocks it; why.
    Fixed(&'static str),
}

/// One sector as it is now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SectorNow {
    /// Its first word, counted from the base of the space.
    pub first: u32,
    /// Its words.
    pub words: u32,
    /// Its lock: of chips side by side the one that holds most.
    pub lock: SectorLock,
    /// A write that came to no good end left it: whatever it reads, it is erased.
    pub in_doubt: bool,
}

/// How long chips take, typically. Chips side by side work at the same time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pace {
    /// One unit, in microseconds.
    pub program_us: f64,
    /// One sector, in milliseconds.
    pub erase_ms: f64,
}

/// What the chips of a space allow.
#[derive(Clone, Debug, PartialEq)]
pub struct Ways {
    /// All sectors, lowest address first; they fill the space.
    pub sectors: Vec<SectorNow>,
    /// The lanes of the chips.
    pub lanes: Vec<Lane>,
    /// What is programmed at once.
    pub unit: Unit,
    /// One command unlocks every sector, so that all locks are set again afterwards.
    pub unlocks_all: bool,
    /// How long it takes.
    pub pace: Pace,
}

impl Ways {
    /// True if the sectors follow each other and fill `words` words.
    pub fn fill(&self, words: u32) -> bool {
        let end = self.sectors.iter().try_fold(0_u32, |at, sector| {
            let follows = sector.first == at && sector.words > 0;
            at.checked_add(sector.words).filter(|_| follows)
        });
        end == Some(words)
    }
}
