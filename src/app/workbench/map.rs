//! What is known of each block of the module, and the words that were read.

use super::{SheetFacts, SpaceFacts};
use crate::bus::WordAddress;
use crate::jobs::BlockState;
use crate::shelf::BLOCK_BYTES;

/// What the copy knows of a block.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mark {
    /// Nothing.
    #[default]
    NotRead,
    /// One pass has read it.
    ReadOnce,
    /// Two passes under opposite conditions gave the same.
    Agreed,
    /// It never held still, or passes disagree so far.
    Unsteady,
    /// Every line followed what it was charged to.
    Nobody,
}

/// A block of a space.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// What the copy knows of it.
    pub mark: Mark,
}

/// The blocks of a space.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SpaceMap {
    /// Words of a block.
    pub block_words: u32,
    /// The blocks, lowest address first.
    pub cells: Vec<Cell>,
    /// The block that is under way.
    pub under_way: Option<usize>,
}

impl SpaceMap {
    /// The blocks of a space of which nothing is known.
    pub fn new(space: &SpaceFacts) -> Self {
        let block_words = BLOCK_BYTES / (space.bits / 8);
        let cells = vec![Cell::default(); space.words.div_ceil(block_words) as usize];
        Self { block_words, cells, under_way: None }
    }

    /// A pass begins: it is at the first block that it will read.
    pub(super) fn begin(&mut self, number: u32) {
        let first = match number {
            1 => self.cells.iter().position(|cell| cell.mark == Mark::NotRead),
            _ => Some(0),
        };
        self.under_way = first.filter(|&at| at < self.cells.len());
    }

    /// A block has a new state.
    pub(super) fn put(&mut self, at: usize, state: BlockState) {
        let Some(cell) = self.cells.get_mut(at) else { return };
        match state {
            BlockState::ReadOnce => cell.mark = Mark::ReadOnce,
            BlockState::Agreed => cell.mark = Mark::Agreed,
            BlockState::Disagrees | BlockState::Unsteady => cell.mark = Mark::Unsteady,
            // They say something about an image, not about the copy.
            BlockState::Same
            | BlockState::Differs
            | BlockState::Erased
            | BlockState::Written
            | BlockState::Failed => {}
        }
        self.under_way = Some(at + 1).filter(|&next| next < self.cells.len());
    }
}

/// The words that were read, little-endian, by space.
#[derive(Debug, Default)]
pub struct Image {
    spaces: Vec<Vec<u8>>,
}

impl Image {
    /// Room for the spaces of a sheet; it costs memory once words come in.
    pub(super) fn of(sheet: &SheetFacts) -> Self {
        let bytes = |space: &SpaceFacts| vec![0; space.words as usize * space.bits as usize / 8];
        Self { spaces: sheet.spaces.iter().map(bytes).collect() }
    }

    /// Puts words in.
    pub(super) fn put(&mut self, space: usize, facts: &SpaceFacts, at: WordAddress, bytes: &[u8]) {
        let first = at.0.wrapping_sub(facts.base.0) as usize * facts.bits as usize / 8;
        if let Some(room) = self.spaces.get_mut(space).and_then(|all| all.get_mut(first..))
            && let Some(room) = room.get_mut(..bytes.len())
        {
            room.copy_from_slice(bytes);
        }
    }

    /// Words from `first` on (counted from the base), as many as there are.
    pub fn words(&self, space: usize, bits: u32, first: u32, count: usize) -> Vec<u32> {
        let size = bits as usize / 8;
        let all = self.spaces.get(space).map_or(&[][..], Vec::as_slice);
        let from = all.get(first as usize * size..).unwrap_or(&[]);
        from.chunks_exact(size)
            .take(count)
            .map(|bytes| bytes.iter().rev().fold(0, |word, &byte| word << 8 | u32::from(byte)))
            .collect()
    }
}
