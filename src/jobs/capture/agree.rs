//! The second pass of a space, and what follows where it disagrees.

use super::Work;
use super::write_up::Findings;
use crate::bus::{Digest, WordAddress};
use crate::image::{Unsteady, UnsteadyWord, counted};
use crate::jobs::blocks::Conditions;
use crate::jobs::reading::digest_blocks;
use crate::jobs::reread::{Settled, reread};
use crate::jobs::{BlockState, Event, JobError};
use crate::shelf::Block;
use serde::{Deserialize, Serialize};

/// An unsteady word as the progress log keeps it over an interruption.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct UnsteadyFact {
    /// The block that had it.
    block: u32,
    address: u32,
    bits: u32,
    seen: Vec<u32>,
    settled: bool,
}

/// Compares checksums made on the adapter with the copy, block by block; what differs is read
/// again.
pub(super) async fn agree(
    work: &mut Work<'_, '_>,
    part: usize,
    findings: &mut Findings,
) -> Result<(), JobError> {
    let blocks = work.blocks(part);
    let how = Conditions::of_pass(2);
    let reach = work.reach(part, how);
    let width = work.part(part).1.width;
    let space = work.name(part);
    work.desk.tell(&Event::Pass {
        space: space.clone(),
        number: 2,
        what: "checksums".into(),
        bytes: blocks.iter().map(|block| u64::from(block.bytes)).sum(),
    });
    let base = work.part(part).1.base;
    let place = |block: &Block| {
        let at = base.plus(block.first.0);
        format!("in pass two of space {space}, at word {at}; the words of pass one are kept")
    };
    let mut disagreeing = Vec::new();
    let mut reached = blocks.first().copied();
    let pass = digest_blocks(work.desk, &reach, &blocks, |block, digest| {
        reached = Some(*block);
        let same = digest == Digest::of(width, work.bytes_of(block), how.down);
        work.tell(block, if same { BlockState::Agreed } else { BlockState::Disagrees });
        if same {
            findings.agreed(block);
        } else {
            disagreeing.push(*block);
        }
    });
    pass.await.map_err(|error| match &reached {
        Some(block) => error.at(|| place(block)),
        None => error,
    })?;
    let mut notes = Notes::default();
    for block in &disagreeing {
        match settle(work, part, block, findings).await {
            Ok(what) => notes.add(work, block, what),
            Err(error) => {
                notes.tell(work);
                return Err(error.at(|| place(block)));
            }
        }
    }
    notes.tell(work);
    Ok(())
}

/// What was found in blocks that follow each other: told once if it is the same.
#[derive(Default)]
struct Notes(Option<(Block, u64, String)>);

impl Notes {
    fn add(&mut self, work: &Work<'_, '_>, block: &Block, what: String) {
        match &mut self.0 {
            Some((first, blocks, same))
                if *same == what && u64::from(first.index) + *blocks == u64::from(block.index) =>
            {
                *blocks += 1;
            }
            _ => {
                self.tell(work);
                self.0 = Some((*block, 1, what));
            }
        }
    }

    fn tell(&mut self, work: &Work<'_, '_>) {
        let Some((first, blocks, what)) = self.0.take() else { return };
        let (at, space) = (work.word_address(&first), work.name(first.part));
        work.desk.note(match blocks {
            1 => format!("block at word {at} of {space}: {what}"),
            _ => format!("{blocks} blocks from word {at} of {space} on: in each, {what}"),
        });
    }
}

async fn settle(
    work: &mut Work<'_, '_>,
    part: usize,
    block: &Block,
    findings: &mut Findings,
) -> Result<String, JobError> {
    let width = work.part(part).1.width;
    let first = work.bytes_of(block).to_vec();
    let (desk, passes) = (work.desk, work.request.passes);
    let settled = {
        let reaches = std::cell::RefCell::new(&mut *work);
        let reach = |how| reaches.borrow_mut().reach(part, how);
        reread(desk, reach, width, block, first, passes).await?
    };
    let mut found = Unsteady::default();
    let readings: Vec<_> = settled.readings.iter().map(Vec::as_slice).collect();
    found.observe(width, block.first, &readings);
    // Facts come before the block they belong to, so that a block that counts has its facts.
    for word in &found.words {
        keep_fact(work, block, word, settled.agreed)?;
    }
    if settled.bytes != work.bytes_of(block) {
        work.keep(block, &settled.bytes)?;
    }
    work.tell(block, if settled.agreed { BlockState::Agreed } else { BlockState::Unsteady });
    let what = outcome(&settled, &found);
    findings.put(block, found, settled.agreed, settled.passes);
    Ok(what)
}

fn keep_fact(
    work: &mut Work<'_, '_>,
    block: &Block,
    unsteady: &UnsteadyWord,
    settled: bool,
) -> Result<(), JobError> {
    let fact = UnsteadyFact {
        block: block.index,
        address: unsteady.address.0,
        bits: unsteady.bits,
        seen: unsteady.seen.clone(),
        settled,
    };
    if let Ok(line) = serde_json::to_string(&fact) {
        work.store.put_fact(&line)?;
    }
    Ok(())
}

/// What reading a block again has come to.
fn outcome(settled: &Settled, found: &Unsteady) -> String {
    match (found.total, settled.agreed) {
        (0, true) => "one checksum differed, then the words agreed".to_string(),
        (0, false) => {
            "the checksums disagree and no pass was left to look for the word".to_string()
        }
        (n, agreed) => {
            let end = if agreed { "then two passes agreed" } else { "and no two passes agreed" };
            format!("{} differed between passes, {end}", counted(n, "word"))
        }
    }
}

impl Work<'_, '_> {
    /// The findings of an earlier, interrupted run of this capture.
    pub(super) fn findings_kept(&self) -> Vec<Findings> {
        let mut findings: Vec<_> = self.request.parts.iter().map(|_| Findings::default()).collect();
        for line in self.store.facts() {
            let Ok(fact) = serde_json::from_str::<UnsteadyFact>(line) else { continue };
            let block = self.store.blocks().get(fact.block as usize);
            let Some((block, of)) =
                block.and_then(|block| Some((block, findings.get_mut(block.part)?)))
            else {
                continue;
            };
            let word = UnsteadyWord {
                address: WordAddress(fact.address),
                seen: fact.seen,
                bits: fact.bits,
            };
            of.remember(block, word, fact.settled);
        }
        findings
    }
}
