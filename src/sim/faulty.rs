//! Line faults between the adapter and whatever is plugged in.

use super::books::ModuleBooks;
use super::chips::Chip;
use super::socket::{Drive, Socket};
use crate::bus::{Cycles, Levels, Millivolts, Nanos, Precharge, Shape, Span, Word, WordAddress};
use crate::wire::LineLevels;
use std::fmt;
use std::ops::Range;

/// A data or address line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Line {
    /// A data line of the adapter.
    Data(u8),
    /// An address line.
    Address(u8),
}

impl Line {
    /// The line that a name such as D7 or A3 stands for.
    pub fn parse(name: &str) -> Option<Self> {
        let number = name.get(1..)?.parse().ok().filter(|n| *n < 32)?;
        match name.get(..1)? {
            "D" => Some(Self::Data(number)),
            "A" => Some(Self::Address(number)),
            _ => None,
        }
    }

    const fn mask(self) -> u32 {
        match self {
            Self::Data(n) | Self::Address(n) => 1 << n,
        }
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Data(n) => write!(f, "D{n}"),
            Self::Address(n) => write!(f, "A{n}"),
        }
    }
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    /// Not connected. A data line keeps what the adapter charged it to, unless something pulls
    /// it; an address line is low at the module unless something pulls it high.
    Open {
        /// The level it is pulled to.
        pull: Option<bool>,
    },
    /// Always low.
    StuckLow,
    /// Always high.
    StuckHigh,
    /// Joined to another line of its kind: the lower level wins on both.
    ShortedTo(Line),
    /// Now and then the wrong level.
    Unsteady {
        /// How often, as a share of the cycles.
        chance: f64,
        /// Word addresses where it happens; everywhere if `None`.
        within: Option<Range<u32>>,
    },
}

/// A line and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct LineFault {
    /// The line.
    pub line: Line,
    /// What is wrong.
    pub trouble: Trouble,
}

/// Anything plugged in, behind faulty lines.
pub struct Faulty<S> {
    inner: S,
    faults: Vec<LineFault>,
    rng: fastrand::Rng,
    /// What open data lines are charged to, as the adapter sees them.
    charged: u32,
}

impl<S: Socket> Faulty<S> {
    /// `inner` behind lines with these faults; `seed` decides when unsteady ones are wrong.
    pub fn new(inner: S, faults: Vec<LineFault>, seed: u64) -> Self {
        Self { inner, faults, rng: fastrand::Rng::with_seed(seed), charged: 0 }
    }

    /// What is behind the lines.
    pub fn inner(&self) -> &S {
        &self.inner
    }

    fn address(&mut self, asked: WordAddress) -> WordAddress {
        let mut at = asked.0;
        for fault in self.faults.iter().filter(|fault| matches!(fault.line, Line::Address(_))) {
            at = bent(&mut self.rng, fault, at, asked, 0);
        }
        WordAddress(at)
    }

    /// The levels of all data lines after their faults; `levels` has those of `lane` only.
    fn data(&mut self, levels: u32, asked: WordAddress, floating: u32) -> u32 {
        let mut levels = levels;
        for fault in self.faults.iter().filter(|fault| matches!(fault.line, Line::Data(_))) {
            levels = bent(&mut self.rng, fault, levels, asked, floating);
        }
        levels
    }

    fn charge(&mut self, precharge: Precharge) {
        match precharge {
            Precharge::None => {}
            Precharge::Zeros => self.charged = 0,
            Precharge::Ones => self.charged = u32::MAX,
        }
    }

    fn bends_addresses(&self) -> bool {
        self.faults.iter().any(|fault| matches!(fault.line, Line::Address(_)))
    }

    /// Levels of one group of lines as the adapter reads them, from those `beyond` the faults.
    fn seen(&mut self, address: bool, group: &Group, beyond: u32) -> u32 {
        let mut levels = beyond;
        let ours = |fault: &&LineFault| matches!(fault.line, Line::Address(_)) == address;
        for fault in self.faults.iter().filter(ours) {
            let mask = fault.line.mask();
            levels = match &fault.trouble {
                // It still sees what it drives or pulls itself.
                Trouble::Open { .. } if group.driven & mask != 0 => {
                    (levels & !mask) | (group.level & mask)
                }
                Trouble::Open { pull: None } if group.pulled & mask != 0 => levels | mask,
                Trouble::ShortedTo(other) => {
                    let both = mask | other.mask();
                    let driven = group.driven & both;
                    // The driver takes the other along; of two drivers the low one wins.
                    let all = if driven == 0 { both } else { driven };
                    let low = levels & all != all || group.level & driven != driven;
                    if low { levels & !both } else { levels | both }
                }
                _ => bent(&mut self.rng, fault, levels, WordAddress(0), group.floating),
            };
        }
        levels
    }

    fn read_back(&mut self, shape: &Shape, word: Word, asked: WordAddress) -> Word {
        let lane = shape.width.ones() << shape.first_line;
        // Lines beyond the shape's are not known here: as charged.
        let levels = (word << shape.first_line) | (self.charged & !lane);
        (self.data(levels, asked, self.charged) >> shape.first_line) & shape.width.ones()
    }
}

/// What the adapter does to one group of lines.
struct Group {
    driven: u32,
    level: u32,
    pulled: u32,
    floating: u32,
}

fn bent(
    rng: &mut fastrand::Rng,
    fault: &LineFault,
    levels: u32,
    asked: WordAddress,
    floating: u32,
) -> u32 {
    let mask = fault.line.mask();
    let set = |high: bool| if high { levels | mask } else { levels & !mask };
    match &fault.trouble {
        Trouble::Open { pull } => set(pull.unwrap_or(floating & mask != 0)),
        Trouble::StuckLow => set(false),
        Trouble::StuckHigh => set(true),
        Trouble::ShortedTo(other) => {
            let both = mask | other.mask();
            if levels & both == both { levels } else { levels & !both }
        }
        Trouble::Unsteady { chance, within } => {
            let here = within.as_ref().is_none_or(|range| range.contains(&asked.0));
            if here && rng.f64() < *chance { levels ^ mask } else { levels }
        }
    }
}

impl<S: Socket> Cycles for Faulty<S> {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        self.charge(precharge);
        let at = self.address(address);
        let word = self.inner.read(shape, at, precharge);
        self.read_back(shape, word, address)
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        let lane = shape.width.ones() << shape.first_line;
        let driven = (value << shape.first_line) & lane;
        self.charged = (self.charged & !lane) | driven;
        // An input that nobody drives counts as high: from memory, TTL inputs.
        let levels = self.data(driven | !lane, address, u32::MAX);
        let at = self.address(address);
        self.inner.write(shape, at, (levels >> shape.first_line) & shape.width.ones());
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, precharge: Precharge, out: &mut Vec<Word>) {
        if self.bends_addresses() {
            out.extend(span.addresses().map(|address| self.read(shape, address, precharge)));
            return;
        }
        self.charge(precharge);
        let start = out.len();
        self.inner.read_burst(shape, span, precharge, out);
        if !self.faults.is_empty() {
            for (word, address) in out[start..].iter_mut().zip(span.addresses()) {
                *word = self.read_back(shape, *word, address);
            }
        }
    }

    fn delay(&mut self, time: Nanos) {
        self.inner.delay(time);
    }

    fn now(&self) -> Nanos {
        self.inner.now()
    }
}

impl<S: Socket> Socket for Faulty<S> {
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        self.inner.power(now, mv);
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        let lane = shape.width.ones() << shape.first_line;
        self.charged = (self.charged & !lane) | ((charge << shape.first_line) & lane);
        let at = self.address(address);
        let word = self.inner.read_charged(shape, at, charge);
        self.read_back(shape, word, address)
    }

    fn control(&mut self, levels: Levels) {
        self.inner.control(levels);
    }

    fn ready(&mut self) -> bool {
        self.inner.ready()
    }

    fn lines(&mut self, drive: &Drive) -> LineLevels {
        if let Some(high) = drive.charged {
            self.charged = if high { u32::MAX } else { 0 };
        }
        let driven = drive.driven.data;
        self.charged = (self.charged & !driven) | drive.level.data;
        let data = Group {
            driven,
            level: drive.level.data,
            pulled: drive.pulled_up.data,
            floating: self.charged,
        };
        let address = Group {
            driven: drive.driven.address,
            level: drive.level.address,
            pulled: drive.pulled_up.address,
            floating: 0,
        };
        // What reaches the module: data without the open lines, addresses after their faults.
        let mut inner = *drive;
        for fault in &self.faults {
            if let (Line::Data(_), Trouble::Open { .. }) = (fault.line, &fault.trouble) {
                let mask = fault.line.mask();
                inner.driven.data &= !mask;
                inner.level.data &= !mask;
                inner.pulled_up.data &= !mask;
            }
        }
        inner.level.address = self.address(WordAddress(drive.alone().address)).0;
        (inner.driven.address, inner.pulled_up.address) = (u32::MAX, 0);
        let beyond = self.inner.lines(&inner);
        let at_adapter = drive.alone().address;
        LineLevels {
            data: self.seen(false, &data, beyond.data),
            address: self.seen(true, &address, at_adapter),
            control: beyond.control,
        }
    }

    fn books(&self) -> Option<&ModuleBooks> {
        self.inner.books()
    }

    fn chips(&self, space: &str) -> &[Chip] {
        self.inner.chips(space)
    }

    fn contents(&self, space: &str) -> Option<Vec<u8>> {
        self.inner.contents(space)
    }

    fn set_contents(&mut self, space: &str, bytes: &[u8]) -> bool {
        self.inner.set_contents(space, bytes)
    }
}
