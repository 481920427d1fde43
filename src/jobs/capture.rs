//! Capture: read to agreement, named doubts, and the shelf.

mod agree;
mod report;
mod write_up;

pub use report::CaptureReport;

use super::blocks::{Conditions, Reach};
use super::reading::read_blocks;
use super::{Arrival, BlockState, Desk, Ending, Event, JobError, Powered};
use crate::bus::{WordAddress, crc32};
use crate::image::one_line;
use crate::module::Sheet;
use crate::shelf::{Block, Identified, Label, Part, Shelf, Start, Unfinished};
use crate::wire::HelloReply;
use agree::agree;

/// What to capture.
#[derive(Clone, Debug)]
pub struct CaptureRequest {
    /// The individual module.
    pub specimen: Label,
    /// It is the simulated bench's.
    pub simulated: bool,
    /// What to read: the index of the space in the sheet, and its part.
    pub parts: Vec<(usize, Part)>,
    /// Passes at most, the first two included; at least 2.
    pub passes: u32,
    /// Said by the person who takes it.
    pub note: String,
    /// What the chips answered when they were last asked: a capture only reads.
    pub(crate) identified: Option<Identified>,
}

/// A capture under way.
struct Work<'a, 'd> {
    desk: &'a Desk<'d>,
    sheet: &'a Sheet,
    hello: &'a HelloReply,
    powered: &'a Powered,
    request: &'a CaptureRequest,
    store: Unfinished,
    /// The copy so far, in the order of the parts.
    content: Vec<u8>,
    nonce: u16,
}

/// Begins a capture on the shelf, or goes on with the unfinished one of this specimen.
pub fn begin(
    desk: &Desk<'_>,
    sheet: &Sheet,
    shelf: &Shelf,
    request: &CaptureRequest,
) -> Result<Unfinished, JobError> {
    let store = shelf.begin_or_resume(&Start {
        specimen: request.specimen.clone(),
        sheet_sha256: sheet.sha256(),
        simulated: request.simulated,
        parts: request.parts.iter().map(|(_, part)| part.clone()).collect(),
    })?;
    if let Some(aside) = store.set_aside() {
        desk.note(format!(
            "an unfinished capture that does not fit was set aside in {}: {}; the command that it \
             was begun with takes it back",
            one_line(aside.path.display()),
            aside.differences.join("; ")
        ));
    }
    if store.taken_back() {
        desk.note("a capture that had been set aside fits this one and is taken back");
    }
    if store.recorded().is_some() {
        desk.note("an earlier run ended just before the shelf; its copy is proven once more");
    }
    Ok(store)
}

/// Reads the parts of `request` to agreement into `store` and puts the capture on the shelf.
///
/// Pass one moves words, pass two checksums made on the adapter under opposite conditions; blocks
/// that disagree are read again word by word. A job that is stopped, or loses cable or process,
/// leaves an unfinished capture which the next one goes on with.
pub async fn capture(
    desk: &Desk<'_>,
    sheet: &Sheet,
    hello: &HelloReply,
    powered: &Powered,
    request: &CaptureRequest,
    store: Unfinished,
) -> Result<(CaptureReport, Ending), JobError> {
    let bytes: u64 = request.parts.iter().map(|(_, part)| part.bytes()).sum();
    let mut work = Work {
        desk,
        sheet,
        hello,
        powered,
        request,
        store,
        content: vec![0; bytes as usize],
        nonce: fastrand::u16(..),
    };
    work.take_back()?;
    for part in 0..request.parts.len() {
        work.pass_one(part).await?;
    }
    let mut findings = work.findings_kept();
    for (part, findings) in findings.iter_mut().enumerate() {
        agree(&mut work, part, findings).await?;
    }
    write_up::finish(work, &findings)
}

impl Work<'_, '_> {
    fn part(&self, part: usize) -> (usize, &Part) {
        let (space, part) = &self.request.parts[part];
        (*space, part)
    }

    fn name(&self, part: usize) -> String {
        self.part(part).1.space.clone()
    }

    fn blocks(&self, part: usize) -> Vec<Block> {
        self.store.blocks().iter().filter(|block| block.part == part).copied().collect()
    }

    /// A reach with a nonce of its own: it is of a new pass.
    fn reach(&mut self, part: usize, how: Conditions) -> Reach {
        self.nonce = self.nonce.wrapping_add(1);
        let (space, of) = self.part(part);
        Reach::new(self.powered, self.hello, space, of, how, self.nonce)
    }

    fn bytes_of(&self, block: &Block) -> &[u8] {
        &self.content[block.offset as usize..][..block.bytes as usize]
    }

    fn keep(&mut self, block: &Block, bytes: &[u8]) -> Result<(), JobError> {
        self.store.put_block(block.index, block.offset, bytes, crc32(bytes))?;
        self.content[block.offset as usize..][..bytes.len()].copy_from_slice(bytes);
        self.show(block, false);
        Ok(())
    }

    /// Shows the words of a block; `kept` says that they are from before an interruption.
    fn show(&self, block: &Block, kept: bool) {
        self.desk.show(&Arrival::Words {
            space: &self.part(block.part).1.space,
            address: self.word_address(block),
            bytes: self.bytes_of(block),
            kept,
        });
    }

    /// The word address on the bus where a block begins.
    fn word_address(&self, block: &Block) -> WordAddress {
        self.part(block.part).1.base.plus(block.first.0)
    }

    fn tell(&self, block: &Block, state: BlockState) {
        self.desk.tell(&Event::Block {
            space: self.name(block.part),
            address: self.word_address(block).0,
            bytes: block.bytes,
            state,
        });
    }

    /// Takes the blocks of an unfinished capture back from the disk.
    fn take_back(&mut self) -> Result<(), JobError> {
        let blocks = self.store.blocks().to_vec();
        for block in &blocks {
            if let Some(bytes) = self.store.read_back(block.index)? {
                self.content[block.offset as usize..][..bytes.len()].copy_from_slice(&bytes);
                self.show(block, true);
            }
        }
        if self.store.resumed() > 0 {
            let kept = self.store.blocks_done().len();
            self.desk.tell(&Event::Resumed { blocks: kept, of: blocks.len() });
        }
        Ok(())
    }

    /// The words of every block that is not on the disk yet.
    async fn pass_one(&mut self, part: usize) -> Result<(), JobError> {
        let done = self.store.blocks_done().clone();
        let mut blocks = self.blocks(part);
        blocks.retain(|block| !done.contains_key(&block.index));
        let Some(first) = blocks.first() else { return Ok(()) };
        let mut reached = self.word_address(first);
        let reach = self.reach(part, Conditions::of_pass(1));
        let space = self.name(part);
        self.desk.tell(&Event::Pass {
            space: space.clone(),
            number: 1,
            what: "words".into(),
            bytes: blocks.iter().map(|block| u64::from(block.bytes)).sum(),
        });
        let desk = self.desk;
        let result = read_blocks(desk, &reach, &blocks, |block, bytes| {
            self.keep(block, &bytes)?;
            self.tell(block, BlockState::ReadOnce);
            let words = block.bytes / self.part(block.part).1.width.bytes() as u32;
            reached = self.word_address(block).plus(words);
            Ok(())
        });
        result.await.map_err(|error| {
            error.at(|| {
                format!(
                    "in pass one of space {space}, at word {reached}; {} of {} blocks are kept, \
                     the same command goes on from there",
                    self.store.blocks_done().len(),
                    self.store.blocks().len()
                )
            })
        })
    }
}
