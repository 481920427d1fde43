//! Changing chips: every command that writing needs, as cycle scripts.
//!
//! The commands are those of [`Family`](super::Family), with the datasheet beside each. All chips
//! of a [`Writing`] get the same cycles at the same time, and each is judged by itself. A script
//! is stopped only where a chip can be left alone: every command sequence stands in a critical
//! stretch, together with the wait for its end.

mod abilities;
mod cycles;
mod erase;
mod explain;
mod locks;
mod pages;
mod program;
mod sectors;
mod steps;
#[cfg(test)]
mod tests;
mod why_not;

pub use abilities::{Abilities, LockKind};
pub use sectors::sectors;
pub use why_not::WhyNot;

use super::{Family, Way, Wiring};
use crate::bus::script::{BuildError, Script};
use crate::bus::{ShapeId, Width, Word, WordAddress};

/// Chips side by side that are changed together by the same commands.
///
/// Where they do not fill the word, the other data lines carry the family's "back to reading"; a
/// page-write part has no such word, so its chips must fill it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Writing {
    /// The shape of its cycles.
    pub shape: ShapeId,
    /// Its width.
    pub width: Width,
    /// The word address where the space begins.
    pub base: WordAddress,
    /// The chips; their address lines are the same.
    pub chips: Vec<Wiring>,
    /// Whose commands, on which kind of bus.
    pub way: Way,
    /// What they can do, and how long it takes.
    pub abilities: Abilities,
}

/// Which script a run needs. Every one takes B, N and its payload as the [`Step`] says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScriptKind {
    /// N words from B on, each polled; blank words are passed over.
    Words,
    /// N full write buffers from B on, which is the first word of one.
    Buffers,
    /// N words from B on as one write buffer; the payload has its length word before them.
    PartBuffer,
    /// N whole pages from B on, which is the first word of one.
    Pages,
    /// N whole pages of ones from B on, without payload.
    BlankPages,
}

/// One RUN: which script, the registers B and N, the payload.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The script.
    pub kind: ScriptKind,
    /// Its first word.
    pub b: WordAddress,
    /// How many, in the unit of the script.
    pub n: u32,
    /// What the script takes.
    pub payload: Vec<Word>,
}

impl Writing {
    /// Every address outside the sector in work at which a command may be written: at most 8, for
    /// the list of a permit. What goes to the sector itself is covered by the permit's window.
    pub fn command_addresses(&self) -> Vec<WordAddress> {
        let unlock = self.way.unlock.addresses(self.way.mode);
        let unlock = unlock.filter(|_| self.way.family != Family::Intel);
        let mut all: Vec<_> = unlock.into_iter().flatten().map(|chip| self.at(chip)).collect();
        if self.way.family != Family::Page {
            all.push(self.base);
        }
        all.sort_unstable();
        all.dedup();
        all
    }

    /// True if programming erases what it writes, so that no erase is needed before.
    pub fn erases_itself(&self) -> bool {
        self.way.family == Family::Page
    }

    /// The script of a kind; it is the same for every run. After a run that did not end good,
    /// [`reset`](Self::reset) comes before anything else.
    pub fn script(&self, kind: ScriptKind) -> Result<Script, BuildError> {
        match kind {
            ScriptKind::Words => self.words(),
            ScriptKind::Buffers => self.buffers(),
            ScriptKind::PartBuffer => self.part_buffer(),
            ScriptKind::Pages => self.pages(),
            ScriptKind::BlankPages => self.blank_pages(),
        }
        .script()
    }

    /// Back to reading, with the status cleared. B is any address that may be written; N = 1.
    pub fn reset(&self) -> Result<Script, BuildError> {
        self.whole_reset().script()
    }
}
