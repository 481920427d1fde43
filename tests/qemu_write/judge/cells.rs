//! The cells of one chip and what commands do to them.

use super::{Done, Layout};

/// One sector.
struct Sector {
    first: u32,
    words: u32,
    /// It is to be changed.
    allowed: bool,
    erases: u32,
    programs: u32,
}

/// The cells of one chip of 16 lines.
pub struct Cells {
    words: Vec<u16>,
    sectors: Vec<Sector>,
}

impl Cells {
    /// Cells that hold `words`, with sectors as `layout` says; none may be changed yet.
    pub fn new(words: Vec<u16>, layout: &Layout) -> Self {
        let mut first = 0;
        let sizes = layout.iter().flat_map(|&(count, bytes)| vec![bytes / 2; count as usize]);
        let sectors = sizes.map(|words| {
            let sector = Sector { first, words, allowed: false, erases: 0, programs: 0 };
            first += words;
            sector
        });
        let sectors = sectors.collect();
        assert_eq!(first as usize, words.len(), "the sectors do not fill the chip");
        Self { words, sectors }
    }

    pub fn allow(&mut self, numbers: &[usize]) {
        for (number, sector) in self.sectors.iter_mut().enumerate() {
            sector.allowed = numbers.contains(&number);
        }
    }

    pub fn words(&self) -> &[u16] {
        &self.words
    }

    pub fn done(&mut self) -> Done {
        let done = Done {
            erases: self.sectors.iter().map(|sector| sector.erases).collect(),
            programs: self.sectors.iter().map(|sector| sector.programs).collect(),
        };
        for sector in &mut self.sectors {
            (sector.erases, sector.programs) = (0, 0);
        }
        done
    }

    /// The first word of the sector with a word.
    pub fn sector_at(&self, at: u32) -> u32 {
        self.sectors[self.number(at)].first
    }

    fn number(&self, at: u32) -> usize {
        let after = self.sectors.partition_point(|sector| sector.first <= at);
        let number = after.saturating_sub(1);
        assert!(at < self.words.len() as u32, "word {at:X} is not in the chip");
        number
    }

    /// True if the sector with a word is to be changed.
    pub fn may_change(&self, at: u32) -> bool {
        self.sectors[self.number(at)].allowed
    }

    /// Programs a word: every bit that is 1 there stays 1 or goes to 0.
    pub fn program(&mut self, at: u32, value: u16) -> Result<(), String> {
        if !self.may_change(at) {
            return Err(format!("{value:X} is programmed outside the plan's sectors"));
        }
        let cell = self.words[at as usize];
        if cell & value != value {
            return Err(format!("{value:X} is programmed over {cell:X} without an erase"));
        }
        self.words[at as usize] = value;
        let number = self.number(at);
        self.sectors[number].programs += 1;
        Ok(())
    }

    /// Erases the sector that begins at a word.
    pub fn erase(&mut self, at: u32) -> Result<(), String> {
        if !self.may_change(at) {
            return Err("an erase outside the plan's sectors".into());
        }
        let number = self.number(at);
        let sector = &mut self.sectors[number];
        if sector.first != at {
            return Err(format!("an erase inside a sector that begins at {:X}", sector.first));
        }
        sector.erases += 1;
        let range = at as usize..(at + sector.words) as usize;
        self.words[range].fill(0xFFFF);
        Ok(())
    }
}
