//! What is known of each block of the module, and the words that were read.

use super::planned::{PlannedPart, Progressed};
use super::{SheetFacts, SpaceFacts};
use crate::bus::WordAddress;
use crate::chips::Act;
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
    /// Words of the space.
    pub words: u32,
    /// The first word of each sector; empty while nobody knows them.
    pub sectors: Vec<u32>,
    /// What the plan does with each of these sectors; empty where it does not reach.
    pub planned: Vec<PlannedPart>,
    /// The sector that is being written.
    pub in_hand: Option<usize>,
}

/// What one sign of the map stands for: a sector, or a block where no sectors are known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Part {
    /// Its first word, counted from the base.
    pub first: u32,
    /// Its words.
    pub words: u32,
    /// What the copy knows of it.
    pub mark: Mark,
    /// A part of it is under way.
    pub under_way: bool,
}

impl SpaceMap {
    /// The blocks of a space of which nothing is known.
    pub fn new(space: &SpaceFacts) -> Self {
        let block_words = BLOCK_BYTES / (space.bits / 8);
        let cells = vec![Cell::default(); space.words.div_ceil(block_words) as usize];
        Self { block_words, cells, words: space.words, ..Self::default() }
    }

    /// True once sectors are known.
    pub fn has_sectors(&self) -> bool {
        !self.sectors.is_empty()
    }

    /// How many signs the map has for this space.
    pub fn parts(&self) -> usize {
        if self.sectors.is_empty() { self.cells.len() } else { self.sectors.len() }
    }

    /// What sign `n` stands for.
    pub fn part(&self, n: usize) -> Option<Part> {
        let (first, next) = if self.sectors.is_empty() {
            let first = (n < self.cells.len()).then(|| n as u32 * self.block_words)?;
            (first, first + self.block_words)
        } else {
            let next = self.sectors.get(n + 1).copied().unwrap_or(self.words);
            (*self.sectors.get(n)?, next)
        };
        let words = next.min(self.words).checked_sub(first).filter(|&words| words > 0)?;
        let (from, to) = (self.block_of(first), self.block_of(first + words - 1));
        let cells = self.cells.get(from..=to)?;
        let under_way = self.under_way.is_some_and(|at| (from..=to).contains(&at));
        Some(Part { first, words, mark: together(cells), under_way })
    }

    /// The sign in whose part a word lies, counted from the base.
    pub fn part_at(&self, word: u32) -> usize {
        if self.sectors.is_empty() {
            return self.block_of(word);
        }
        self.sectors.partition_point(|&first| first <= word).saturating_sub(1)
    }

    /// What identification says of the sectors. A plan for other ones is no plan any more.
    pub(super) fn found(&mut self, sectors: Vec<u32>) {
        let planned = self.planned.iter().map(|part| part.first);
        if !self.planned.is_empty() && !planned.eq(sectors.iter().copied()) {
            if sectors.is_empty() {
                return;
            }
            self.plan(Vec::new());
        }
        self.sectors = sectors;
    }

    /// A plan says what is done with every sector; nothing where it does not reach.
    pub(super) fn plan(&mut self, parts: Vec<PlannedPart>) {
        let words = u64::from(self.words);
        let whole = parts.iter().map(|part| u64::from(part.words)).sum::<u64>() == words;
        self.in_hand = None;
        self.planned = if whole { parts } else { Vec::new() };
        if !self.planned.is_empty() {
            self.sectors = self.planned.iter().map(|part| part.first).collect();
        }
    }

    /// The planned sector that holds a word, counted from the base.
    pub(super) fn planned_at(&self, word: u32) -> Option<usize> {
        let after = self.planned.partition_point(|part| part.first <= word);
        after.checked_sub(1).filter(|&at| at < self.planned.len())
    }

    /// A planned sector has come so far. What the copy knew of changed words is no longer so.
    pub(super) fn progressed(&mut self, at: usize, to: Progressed) {
        let Some(part) = self.planned.get_mut(at) else { return };
        part.progressed = to;
        if matches!(to, Progressed::Erased | Progressed::Written | Progressed::Failed) {
            let (first, words) = (part.first, part.words);
            self.changed(first, words);
        }
    }

    /// Words were changed, or are not what was read: the copy says nothing of their blocks any more.
    pub(super) fn changed(&mut self, first: u32, words: u32) {
        let last = first.saturating_add(words.saturating_sub(1));
        let (from, to) = (self.block_of(first), self.block_of(last));
        for cell in self.cells.iter_mut().take(to + 1).skip(from) {
            cell.mark = Mark::NotRead;
        }
    }

    /// A cycle by hand has changed what lies at a word: that alone, its sector, or the whole chip.
    pub(super) fn changed_by_hand(&mut self, word: u32, act: Option<Act>) {
        match act {
            Some(Act::Harmless | Act::Part | Act::Lock | Act::Permanent) => {}
            // In RAM, or programmed.
            None | Some(Act::Program) => self.changed(word, 1),
            Some(Act::Erase) if self.has_sectors() => {
                if let Some(sector) = self.part(self.part_at(word)) {
                    self.changed(sector.first, sector.words);
                }
            }
            // Nobody knows how far it reaches.
            Some(Act::Erase | Act::EraseChip | Act::Unknown) => self.changed(0, self.words),
        }
    }

    fn block_of(&self, word: u32) -> usize {
        (word / self.block_words.max(1)) as usize
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

/// What is known of all of `cells` together: trouble if any is in trouble, else the least of them.
fn together(cells: &[Cell]) -> Mark {
    let has = |mark| cells.iter().any(|cell| cell.mark == mark);
    let by_weight =
        [Mark::Unsteady, Mark::Nobody, Mark::NotRead, Mark::ReadOnce].into_iter().find(|&m| has(m));
    by_weight.unwrap_or(Mark::Agreed)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Four blocks of 16,384 words; sectors of a boot chip pair at the low end.
    fn map() -> SpaceMap {
        SpaceMap {
            block_words: 0x4000,
            cells: vec![Cell::default(); 4],
            under_way: None,
            words: 0x1_0000,
            ..SpaceMap::default()
        }
    }

    #[test]
    fn without_sectors_a_sign_is_a_block() {
        let mut map = map();
        map.words = 0xF000;
        assert_eq!(map.parts(), 4);
        assert_eq!(map.part(3).map(|part| (part.first, part.words)), Some((0xC000, 0x3000)));
        assert_eq!(map.part(4), None);
        assert_eq!(map.part_at(0x8001), 2);
    }

    #[test]
    fn what_is_changed_by_hand_is_not_what_was_read() {
        for (act, left) in [
            (Some(Act::Part), [true; 4]),
            (Some(Act::Program), [true, false, true, true]),
            (None, [true, false, true, true]),
            (Some(Act::Erase), [true, false, false, true]),
            (Some(Act::EraseChip), [false; 4]),
        ] {
            let mut map = map();
            map.sectors = vec![0, 0x4000, 0xC000];
            (0..4).for_each(|block| map.put(block, BlockState::Agreed));
            map.changed_by_hand(0x4567, act);
            let agreed: Vec<_> = map.cells.iter().map(|cell| cell.mark == Mark::Agreed).collect();
            assert_eq!(agreed, left, "{act:?}");
        }
        let mut map = map();
        (0..4).for_each(|block| map.put(block, BlockState::Agreed));
        map.changed_by_hand(0x4567, Some(Act::Erase));
        assert!(map.cells.iter().all(|cell| cell.mark == Mark::NotRead), "no sectors are known");
    }

    #[test]
    fn a_sector_knows_what_all_its_blocks_know() {
        let mut map = map();
        map.sectors = vec![0, 0x2000, 0x3000, 0x4000];
        assert_eq!(map.parts(), 4);
        for (block, state) in [
            (0, BlockState::Agreed),
            (1, BlockState::Agreed),
            (2, BlockState::ReadOnce),
            (3, BlockState::Agreed),
        ] {
            map.put(block, state);
        }
        let marks = |map: &SpaceMap| -> Vec<_> {
            (0..map.parts()).filter_map(|n| map.part(n)).map(|part| part.mark).collect()
        };
        assert_eq!(marks(&map), [Mark::Agreed, Mark::Agreed, Mark::Agreed, Mark::ReadOnce]);
        map.put(3, BlockState::Unsteady);
        assert_eq!(marks(&map)[3], Mark::Unsteady);
        map.under_way = Some(0);
        let going: Vec<_> = (0..4).filter_map(|n| map.part(n)).map(|part| part.under_way).collect();
        assert_eq!(going, [true, true, true, false]);
        assert_eq!([0, 0x1FFF, 0x2000, 0xFFFF].map(|word| map.part_at(word)), [0, 0, 1, 3]);
    }
}
