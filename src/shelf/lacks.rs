//! What a capture lacks to be a whole copy that held still.

use super::{DoubtRecord, SpaceRecord, UnsteadyRecord, text};
use crate::bus::WordAddress;
use crate::image::counted;
use crate::module::Sheet;
use serde::Deserialize;
use std::fmt;

/// What a capture lacks, in words for lists and headlines; nothing of a good one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Lacks {
    /// What no two passes gave alike.
    pub(crate) agreement: Option<String>,
    /// Which part of the module it is of, if it is not of all.
    pub(crate) words: Option<String>,
}

impl fmt::Display for Lacks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let agreement = self.agreement.as_ref().map(|what| format!("NOT AGREED ({what})"));
        let words = self.words.as_ref().map(|what| format!("PART ONLY ({what})"));
        let said: Vec<_> = agreement.into_iter().chain(words).collect();
        f.write_str(&said.join(", "))
    }
}

/// What is looked at of each space of a record, whichever version wrote it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub(crate) struct SpaceSummary {
    name: String,
    #[serde(with = "text::address")]
    base: WordAddress,
    #[serde(with = "text::address")]
    first: WordAddress,
    words: u32,
    blocks_unsettled: u32,
    unsteady: UnsteadyRecord,
    #[serde(rename = "doubt")]
    doubts: Vec<DoubtRecord>,
}

/// Doubts that say nothing of the copy's lines: what was meant to be so.
const EXPECTED: [&str; 2] = ["too-few", "live"];

impl SpaceSummary {
    /// The kinds of doubt that lists name: those that a fault of a line or a chip would leave.
    pub(super) fn doubts(&self) -> impl Iterator<Item = &str> {
        let kinds = self.doubts.iter().map(|doubt| doubt.kind.as_str());
        kinds.filter(|kind| !EXPECTED.contains(kind))
    }
}

impl From<&SpaceRecord> for SpaceSummary {
    fn from(space: &SpaceRecord) -> Self {
        Self {
            name: space.name.clone(),
            base: space.base,
            first: space.first,
            words: space.words,
            blocks_unsettled: space.blocks_unsettled,
            unsteady: space.unsteady.clone(),
            doubts: space.doubts.clone(),
        }
    }
}

impl Lacks {
    /// What a capture of `spaces` lacks, taken with a sheet of this text.
    pub(super) fn of(spaces: &[SpaceSummary], sheet: &str) -> Self {
        Self { agreement: agreement(spaces), words: words(spaces, sheet) }
    }
}

fn agreement(spaces: &[SpaceSummary]) -> Option<String> {
    let blocks: u64 = spaces.iter().map(|space| u64::from(space.blocks_unsettled)).sum();
    // The first records did not count blocks; the words that they name tell enough.
    let open = |space: &SpaceSummary| space.unsteady.words.iter().filter(|w| !w.settled).count();
    let words: usize = spaces.iter().map(open).sum();
    match (blocks, words) {
        (0, 0) => None,
        (0, words) => Some(format!("{} never held still", counted(words as u64, "word"))),
        (blocks, _) => Some(format!("{} never held still", counted(blocks, "block"))),
    }
}

fn words(spaces: &[SpaceSummary], sheet: &str) -> Option<String> {
    // Of a sheet that this version cannot read nothing is said.
    let sheet = Sheet::parse("", sheet).ok()?;
    let whole = |space: &SpaceSummary| {
        let found = sheet.space(&space.name);
        found.is_some_and(|(_, of)| space.first.0 == 0 && space.words == of.words)
    };
    if spaces.len() == sheet.spaces.len() && spaces.iter().all(whole) {
        return None;
    }
    let one = |space: &SpaceSummary| {
        if whole(space) {
            return space.name.clone();
        }
        let at = WordAddress(space.base.0.wrapping_add(space.first.0));
        format!("{} words {at}+0x{:X}", space.name, space.words)
    };
    Some(spaces.iter().map(one).collect::<Vec<_>>().join(", "))
}
