//! A made-up bus for scripts: memory or scripted answers, every cycle and line noted.

use buswright::bus::script::{Env, LaneRule, Line, LineRefusal};
use buswright::bus::{
    Cycles, Levels, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, Word, WordAddress,
};
use std::collections::{BTreeMap, VecDeque};
use std::fmt;

/// The time of every cycle.
pub const CYCLE: Nanos = Nanos(100);

/// Something that happened on the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    Read(u32, Word),
    Charged(u32, Word, Word),
    Write(u32, Word),
    Part(u32, Word, Word),
    Line(Line, bool),
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read(address, word) => write!(f, "r{address:X}={word:X}"),
            Self::Charged(address, word, charge) => write!(f, "c{address:X}={word:X}~{charge:X}"),
            Self::Write(address, word) => write!(f, "w{address:X}={word:X}"),
            Self::Part(address, word, lanes) => write!(f, "w{address:X}={word:X}&{lanes:X}"),
            Self::Line(line, active) => {
                let sign = if *active { '+' } else { '-' };
                let name = match line {
                    Line::Reset => "reset",
                    Line::Protect => "protect",
                    Line::Mark => "mark",
                };
                write!(f, "{sign}{name}")
            }
        }
    }
}

/// What a read gives.
#[derive(Clone, Debug)]
pub enum Model {
    /// These words in order; the last one for ever.
    Answers(VecDeque<Word>),
    /// What was written last; all ones where nothing was.
    Memory(BTreeMap<u32, Word>),
}

/// The bus.
#[derive(Clone, Debug)]
pub struct ScriptBench {
    pub shape: Shape,
    pub rule: LaneRule,
    pub model: Model,
    /// Writes are permitted from the first to the last of these addresses.
    pub permit: Option<(u32, u32)>,
    /// The ready line says ready from this time on.
    pub ready_at: Nanos,
    /// The rail is gone after so many cycles.
    pub cut_after: Option<usize>,
    pub lines: bool,
    pub events: Vec<Event>,
    pub cycles: usize,
    pub now: Nanos,
}

impl ScriptBench {
    pub fn new(width: Width) -> Self {
        let low = |mask| Levels { mask, level: 0 };
        let shape = Shape {
            width,
            first_line: 0,
            idle: Levels { mask: 7, level: 7 },
            read: Phases { setup: low(4), strobe: low(1) },
            write: Some(Phases { setup: low(4), strobe: low(2) }),
            times: ShapeTimes::default(),
        };
        Self {
            shape,
            rule: LaneRule::Rest,
            model: Model::Memory(BTreeMap::new()),
            permit: None,
            ready_at: Nanos::ZERO,
            cut_after: None,
            lines: true,
            events: Vec::new(),
            cycles: 0,
            now: Nanos::ZERO,
        }
    }

    fn answer(&mut self, address: u32) -> Word {
        self.cycles += 1;
        self.now += CYCLE;
        match &mut self.model {
            Model::Memory(words) => words.get(&address).copied().unwrap_or(u32::MAX),
            Model::Answers(words) if words.len() > 1 => words.pop_front().unwrap_or(0),
            Model::Answers(words) => words.front().copied().unwrap_or(0),
        }
    }

    fn keep(&mut self, address: u32, value: Word, lanes: Word) {
        self.cycles += 1;
        self.now += CYCLE;
        if let Model::Memory(words) = &mut self.model {
            let word = words.entry(address).or_insert(u32::MAX);
            *word = *word & !lanes | value & lanes;
        }
    }
}

impl Cycles for ScriptBench {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        assert_eq!((*shape, precharge), (self.shape, Precharge::None));
        let word = self.answer(address.0) & shape.width.ones();
        self.events.push(Event::Read(address.0, word));
        word
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        assert_eq!(value & !shape.width.ones(), 0, "a word wider than the shape");
        self.keep(address.0, value, shape.width.ones());
        self.events.push(Event::Write(address.0, value));
    }

    fn delay(&mut self, time: Nanos) {
        self.now += time;
    }

    fn now(&self) -> Nanos {
        self.now
    }
}

impl Env for ScriptBench {
    fn shape(&self, slot: ShapeId) -> Option<Shape> {
        (slot.0 == 0).then_some(self.shape)
    }

    fn lane_rule(&self, _: ShapeId) -> LaneRule {
        self.rule
    }

    fn may_write(&self, slot: ShapeId, address: WordAddress, lanes: Word) -> bool {
        assert!(lanes != 0, "a write for no lane");
        slot.0 == 0 && self.permit.is_some_and(|(first, last)| (first..=last).contains(&address.0))
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        let word = self.answer(address.0) & shape.width.ones();
        self.events.push(Event::Charged(address.0, word, charge));
        word
    }

    fn write_lanes(&mut self, shape: &Shape, address: WordAddress, value: Word, lanes: Word) {
        assert_eq!((self.rule, value & !shape.width.ones()), (LaneRule::Strobes, 0));
        self.keep(address.0, value, lanes);
        self.events.push(Event::Part(address.0, value, lanes));
    }

    fn line(&mut self, line: Line, active: bool) -> Result<(), LineRefusal> {
        if !self.lines {
            return Err(LineRefusal::Missing);
        }
        self.events.push(Event::Line(line, active));
        Ok(())
    }

    fn ready(&mut self) -> bool {
        self.now >= self.ready_at
    }

    fn powered(&self) -> bool {
        self.cut_after.is_none_or(|cycles| self.cycles < cycles)
    }
}
