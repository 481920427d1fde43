//! The simulated module: memories on one bus.

use super::books::{ModuleBooks, ModuleViolation};
use super::chips::Chip;
use super::memory::{Memory, MemoryConfig};
use super::socket::{Drive, Socket};
use crate::bus::{Cycles, Levels, Millivolts, Nanos, Precharge, Shape, Span, Word, WordAddress};
use crate::wire::LineLevels;

/// What a simulated module is made of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ModuleConfig {
    /// Its memories.
    pub memories: Vec<MemoryConfig>,
    /// Levels of control lines that no shape names: the board's pull resistors.
    pub pulls: Levels,
    /// Below this voltage nothing answers.
    pub needs: Millivolts,
}

/// Memories that share data, address and control lines.
///
/// Data lines keep their level until somebody drives them, as charged lines do for the time of a
/// cycle.
pub struct Module {
    memories: Vec<Memory>,
    pulls: Levels,
    /// The adapter's levels of control lines between and beside cycles.
    set: Levels,
    /// Levels, address and data at the last look at lines that stand still.
    standing: Option<(Levels, WordAddress, Word)>,
    needs: Millivolts,
    rail: Millivolts,
    bus: Word,
    now: Nanos,
    rng: fastrand::Rng,
    books: ModuleBooks,
}

impl Module {
    /// A module without supply whose memories are blank; `seed` gives the noise of RAM that lost
    /// its supply.
    pub fn new(config: ModuleConfig, seed: u64) -> Self {
        let mut rng = fastrand::Rng::with_seed(seed);
        let blank = |config| Memory::blank(config, &mut rng);
        Self {
            memories: config.memories.into_iter().map(blank).collect(),
            pulls: config.pulls,
            set: Levels::default(),
            standing: None,
            needs: config.needs,
            rail: Millivolts(0),
            bus: 0,
            now: Nanos::ZERO,
            rng,
            books: ModuleBooks::default(),
        }
    }

    fn powered(&mut self, address: WordAddress) -> bool {
        let powered = self.rail >= self.needs;
        if !powered {
            self.books.violation(ModuleViolation::Unpowered(address, self.rail));
        }
        powered
    }

    fn charge(&mut self, shape: &Shape, precharge: Precharge) {
        self.now += shape.times.cycle();
        match precharge {
            Precharge::None => return,
            Precharge::Zeros => self.bus = 0,
            Precharge::Ones => self.bus = Word::MAX,
        }
        self.now += Nanos(u64::from(shape.times.release));
    }

    /// One read of what is on the bus, without the time of the cycle.
    fn sample(&mut self, levels: Levels, settle: Nanos, address: WordAddress) {
        let mut driven = 0;
        for memory in &mut self.memories {
            if !levels.shows(memory.config.read) {
                continue;
            }
            let word = memory.place(address).and_then(|at| memory.read(self.now, at));
            let Some(word) = word else { continue };
            let config = &memory.config;
            let lane = config.lane().mask();
            let mut value = word << config.first_line;
            if settle < config.access {
                value = !value;
                self.books.violation(ModuleViolation::TooFast(address, settle.0));
            }
            if driven & lane != 0 {
                self.books.violation(ModuleViolation::TwoSelected(address));
            }
            // Where two drive, the low one wins: common practice, no source.
            let both = driven & lane;
            self.bus = (self.bus & !lane) | (value & lane & !both) | (self.bus & value & both);
            driven |= lane;
        }
    }

    /// Control lines between cycles.
    fn resting(&self) -> Levels {
        self.pulls.then(self.set)
    }

    /// What is on the bus goes into every memory whose write these levels strobe.
    fn store(&mut self, levels: Levels, address: WordAddress) {
        for memory in &mut self.memories {
            if !levels.shows(memory.config.write) {
                continue;
            }
            let Some(at) = memory.place(address) else { continue };
            let (first, ones) = (memory.config.first_line, memory.config.width.ones());
            if !memory.write(self.now, at, (self.bus >> first) & ones) {
                self.books.violation(ModuleViolation::WriteIgnored(address));
            }
        }
    }

    /// Data lines that an enabled output drives with these control levels, and their levels.
    fn outputs(&mut self, levels: Levels, address: WordAddress) -> (Word, Word) {
        let (mut driven, mut level) = (0, Word::MAX);
        for memory in self.memories.iter_mut().filter(|m| levels.shows(m.config.read)) {
            let word = memory.place(address).and_then(|at| memory.read(self.now, at));
            if let Some(word) = word {
                let lane = memory.config.lane().mask();
                driven |= lane;
                // Where two drive, the low one wins: common practice, no source.
                level &= (word << memory.config.first_line) | !lane;
            }
        }
        (driven, level & driven)
    }

    /// The memory that alone answers the whole span with exactly the shape's lines.
    fn single(&self, shape: &Shape, span: Span) -> Option<usize> {
        let (low, high) = span.bounds()?;
        let levels = self.resting().then(shape.reading());
        let mut selected =
            self.memories.iter().enumerate().filter(|(_, memory)| levels.shows(memory.config.read));
        let (index, memory) = selected.next()?;
        let config = &memory.config;
        let base = i64::from(config.base.0);
        (selected.next().is_none()
            && (config.width, config.first_line) == (shape.width, shape.first_line)
            && low >= base
            && high < base + i64::from(config.words)
            && settle(shape) >= config.access
            && memory.plain(self.now))
        .then_some(index)
    }
}

/// From select and address to the sample.
fn settle(shape: &Shape) -> Nanos {
    Nanos(u64::from(shape.times.setup) + u64::from(shape.times.pulse))
}

impl Cycles for Module {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        self.books.reads += 1;
        self.charge(shape, precharge);
        if self.powered(address) {
            self.sample(self.resting().then(shape.reading()), settle(shape), address);
        }
        (self.bus >> shape.first_line) & shape.width.ones()
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        self.books.writes += 1;
        self.now += shape.times.cycle();
        let lane = shape.width.ones() << shape.first_line;
        self.bus = (self.bus & !lane) | ((value << shape.first_line) & lane);
        let Some(levels) = shape.writing() else {
            self.books.violation(ModuleViolation::NoWriteShape(address));
            return;
        };
        if !self.powered(address) {
            return;
        }
        self.store(self.resting().then(levels), address);
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, precharge: Precharge, out: &mut Vec<Word>) {
        let single = self.single(shape, span).filter(|_| self.rail >= self.needs);
        let Some(memory) = single.map(|index| &self.memories[index]) else {
            out.extend(span.addresses().map(|address| self.read(shape, address, precharge)));
            return;
        };
        memory.copy(span, out);
        let last = out.last().copied().unwrap_or_default();
        self.charge(shape, precharge);
        let one = shape.times.cycle();
        self.now += one * u64::from(span.count - 1);
        let lane = shape.width.ones() << shape.first_line;
        self.bus = (self.bus & !lane) | ((last << shape.first_line) & lane);
        self.books.reads += u64::from(span.count);
    }

    fn delay(&mut self, time: Nanos) {
        self.now += time;
        self.memories.iter_mut().for_each(|memory| memory.settle(self.now));
    }

    fn now(&self) -> Nanos {
        self.now
    }
}

impl Socket for Module {
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        self.now = self.now.max(now);
        let (was, is) = (self.rail >= self.needs, mv >= self.needs);
        self.rail = mv;
        if was == is {
            return;
        }
        self.books.power_ups += u64::from(is);
        for memory in &mut self.memories {
            memory.power(self.now, is, &mut self.rng);
        }
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        self.now += Nanos(u64::from(shape.times.release));
        let lane = shape.width.ones() << shape.first_line;
        self.bus = (self.bus & !lane) | ((charge << shape.first_line) & lane);
        self.read(shape, address, Precharge::None)
    }

    fn control(&mut self, levels: Levels) {
        self.set = levels;
    }

    fn lines(&mut self, drive: &Drive) -> LineLevels {
        let control = Levels { mask: drive.driven.control, level: drive.level.control };
        let levels = self.resting().then(control);
        let seen = drive.alone();
        let address = WordAddress(seen.address);
        if let Some(high) = drive.charged {
            self.bus = if high { Word::MAX } else { 0 };
        }
        let LineLevels { data: driven, .. } = drive.driven;
        let pulled = drive.pulled_up.data;
        self.bus = (self.bus & !driven) | drive.level.data | pulled;
        if self.rail >= self.needs {
            let (outputs, level) = self.outputs(levels, address);
            // Where two drive, the low one wins: common practice, no source.
            let both = outputs & driven;
            let taken = (self.bus & both & level) | (level & !both);
            self.bus = (self.bus & !outputs) | (taken & outputs);
            // Lines that stand still strobe once, however often they are looked at.
            let now = Some((levels, address, self.bus));
            if self.standing != now {
                self.standing = now;
                self.store(levels, address);
            }
        }
        // A control line that nobody drives reads its pull resistor.
        let pulls = self.pulls.level & !drive.driven.control;
        LineLevels { data: self.bus, control: seen.control | pulls, ..seen }
    }

    fn books(&self) -> Option<&ModuleBooks> {
        Some(&self.books)
    }

    fn contents(&self, space: &str) -> Option<Vec<u8>> {
        self.memories.iter().find(|memory| memory.config.name == space).map(Memory::bytes)
    }

    fn chips(&self, space: &str) -> &[Chip] {
        let memory = self.memories.iter().find(|memory| memory.config.name == space);
        memory.map_or(&[], Memory::chips)
    }

    fn set_contents(&mut self, space: &str, bytes: &[u8]) -> bool {
        let memory = self.memories.iter_mut().find(|memory| memory.config.name == space);
        memory.is_some_and(|memory| memory.set(bytes))
    }
}
