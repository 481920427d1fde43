//! Simulated chips on a bus of their own, and the interpreter over them.

use crate::bus::script::{
    Abort, Ended, Env, LaneRule, Limits, Line, LineRefusal, Run, Script, SlotRule, Start, Status,
    check,
};
use crate::bus::{
    Cycles, Lane, Levels, Millivolts, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width,
    Word, WordAddress,
};
use crate::chips::ask::{Answer, QUERY_WORDS};
use crate::chips::{
    Abilities, Asking, Catalogue, Family, Finding, Geometry, QUERY_FIRST, Way, Wiring, Writing,
    write,
};
use crate::sim::{
    Chip, ChipConfig, ChipFaults, ChipType, MemoryConfig, MemoryKind, Module, ModuleConfig, Socket,
};
use std::ops::Range;

const SHAPE: ShapeId = ShapeId(0);
const SPACE: &str = "store";

/// Chips side by side: which, how many lines each, and what is wrong with them.
#[derive(Clone)]
pub(super) struct Setup {
    pub chip: &'static str,
    pub bits: u8,
    pub count: u8,
    /// Of as many chips as are named; the others are good.
    pub faults: Vec<ChipFaults>,
    /// How lines lie; straight if empty.
    pub wirings: Vec<Wiring>,
}

impl Setup {
    pub fn new(chip: &'static str, bits: u8, count: u8) -> Self {
        Self { chip, bits, count, faults: Vec::new(), wirings: Vec::new() }
    }

    /// The last chip has these faults.
    pub fn last(mut self, faults: ChipFaults) -> Self {
        self.faults = vec![ChipFaults::default(); usize::from(self.count) - 1];
        self.faults.push(faults);
        self
    }
}

/// The chips, a permit, and what was found out about them.
pub(super) struct Rig {
    module: Module,
    shape: Shape,
    /// How the lines of the chips lie.
    wirings: Vec<Wiring>,
    /// Lines that go straight to the simulated chips.
    lanes: Vec<Wiring>,
    pub permit: (Range<u32>, Vec<WordAddress>),
    /// Write cycles made: address and value on the bus.
    pub written: Vec<(u32, Word)>,
    /// Cycles made.
    pub made: u64,
    /// The supply goes at this cycle.
    pub cut_at: Option<u64>,
    /// A stop comes at this cycle.
    pub stop_at: Option<u64>,
    pub writing: Writing,
    pub geometry: Geometry,
    pub findings: Vec<Finding>,
}

/// How a run ended and what it emitted.
pub(super) struct Outcome {
    pub ended: Ended,
    pub emitted: Vec<Word>,
}

impl Rig {
    /// The chips, identified by scripts; what says that they cannot be written fails the test.
    pub fn new(setup: &Setup) -> Self {
        Self::with(setup, &Catalogue::built_in().unwrap())
    }

    pub fn with(setup: &Setup, catalogue: &Catalogue) -> Self {
        let mut rig = Self::bare(setup);
        let kind = ChipType::builtin(setup.chip).unwrap();
        let family = match kind.family {
            crate::sim::Family::Amd => Family::Amd,
            crate::sim::Family::Jedec => Family::Jedec,
            crate::sim::Family::Page => Family::Page,
            crate::sim::Family::Intel => Family::Intel,
        };
        let narrow = setup.bits == 8 && kind.widths.contains(&16);
        let ways = Way::of_family(family, setup.bits);
        let way = if narrow { ways[ways.len() - 1] } else { ways[0] };
        rig.identify(way, catalogue);
        rig
    }

    fn bare(setup: &Setup) -> Self {
        let Setup { bits, count, .. } = *setup;
        let width = Width::from_bits(u32::from(bits) * u32::from(count)).unwrap();
        let kind = ChipType::builtin(setup.chip).unwrap();
        let words = kind.words(bits);
        let faults = (0..count).map(|n| setup.faults.get(usize::from(n)).cloned());
        let config = |faults: Option<ChipFaults>| ChipConfig {
            kind: kind.clone(),
            faults: faults.unwrap_or_default(),
        };
        let (oe, we, cs) = (1, 2, 4);
        let low = |lines| Levels { mask: lines, level: 0 };
        let memory = MemoryConfig {
            name: SPACE.to_owned(),
            kind: MemoryKind::Flash,
            width,
            first_line: 0,
            base: WordAddress(words),
            words,
            read: low(oe | cs),
            write: low(we | cs),
            access: Nanos(100),
            chips: faults.map(config).collect(),
            held: Nanos::ZERO,
        };
        let idle = Levels { mask: oe | we | cs, level: oe | we | cs };
        let shape = Shape {
            width,
            first_line: 0,
            idle,
            read: Phases { setup: low(cs), strobe: low(oe) },
            write: Some(Phases { setup: low(cs), strobe: low(we) }),
            times: ShapeTimes { setup: 0, pulse: 150, hold: 0, recover: 0, release: 50 },
        };
        let needs = Millivolts(2700);
        let config = ModuleConfig { memories: vec![memory], pulls: idle, needs };
        let mut module = Module::new(config, 5);
        module.power(Nanos::ZERO, Millivolts(3300));
        let lane = |n| Lane { first: n * bits, bits };
        let lanes: Vec<_> = (0..count).map(|n| Wiring::straight(lane(n))).collect();
        let wirings = if setup.wirings.is_empty() { lanes.clone() } else { setup.wirings.clone() };
        let way = Way::of_family(Family::Amd, bits)[0];
        let writing = Writing {
            shape: SHAPE,
            width,
            base: WordAddress(words),
            chips: wirings.clone(),
            way,
            abilities: Abilities {
                bypass: false,
                buffer_words: None,
                page_words: None,
                locks: write::LockKind::Fixed,
                program_us: (1, 1),
                buffer_us: (1, 1),
                erase_ms: (1, 1),
                chip_ms: 1,
            },
        };
        Self {
            module,
            shape,
            wirings,
            lanes,
            permit: (0..u32::MAX, Vec::new()),
            written: Vec::new(),
            made: 0,
            cut_at: None,
            stop_at: None,
            writing,
            geometry: Geometry::only_size(0),
            findings: Vec::new(),
        }
    }

    fn identify(&mut self, way: Way, catalogue: &Catalogue) {
        let asking = Asking {
            shape: SHAPE,
            width: self.shape.width,
            base: self.writing.base,
            chips: self.wirings.clone(),
            others: Vec::new(),
            way,
        };
        let read = |rig: &mut Self, at: &[WordAddress]| -> Vec<Word> {
            let shape = rig.shape;
            at.iter().map(|&at| Cycles::read(rig, &shape, at, Precharge::None)).collect()
        };
        let written = asking.written();
        let words = read(self, &written);
        let known: Vec<_> = written.into_iter().zip(words).collect();
        let word = |at: WordAddress| known.iter().find(|(a, _)| *a == at).map_or(0, |(_, w)| *w);
        let before = read(self, &asking.id_addresses());
        let ids = self.run(&asking.ids(word).unwrap(), 0, 1, Vec::new());
        assert!(ids.ended.good(), "{:?}", ids.ended);
        let Some(Answer::Words { ids, moved }) = asking.answer(&ids.emitted, ids.ended.a, word)
        else {
            panic!("no ids")
        };
        let of = |chip| Finding::new(way, chip, &ids, moved, &before);
        self.findings = self.wirings.iter().map(of).collect();
        let addresses = asking.query_addresses(QUERY_FIRST..QUERY_WORDS);
        if let Some(scripts) = asking.query(&addresses, 64) {
            let mut words = Vec::new();
            for script in scripts.unwrap() {
                words.extend(self.run(&script, 0, 1, Vec::new()).emitted);
            }
            for (finding, chip) in self.findings.iter_mut().zip(&self.wirings) {
                finding.take_query(chip, &words);
            }
        }
        let width = Width::from_bits(self.wirings[0].lane().bits.into()).unwrap();
        let identity = self.findings[0].identity(catalogue, width);
        let way = self.findings[0].settled_way(identity.as_ref()).unwrap();
        self.geometry = self.findings[0].geometry(identity.as_ref()).unwrap();
        self.writing.way = way;
        let abilities = Abilities::of(&self.findings, catalogue, &self.wirings, way);
        self.writing.abilities = abilities.unwrap_or_else(|why| panic!("{why}"));
        self.written.clear();
    }

    /// The sectors: first word from the base, words.
    pub fn sectors(&self) -> Vec<(u32, u32)> {
        write::sectors(&self.geometry, self.writing.way, &self.wirings).unwrap()
    }

    pub fn base(&self) -> u32 {
        self.writing.base.0
    }

    /// Leave for one sector and the command addresses.
    pub fn allow(&mut self, (first, words): (u32, u32)) {
        let start = self.base() + first;
        self.permit = (start..start + words, self.writing.command_addresses());
        assert!(self.permit.1.len() <= 8);
    }

    pub fn limits(&self) -> Limits {
        Limits::with_shapes([SlotRule { width: self.shape.width, lanes: LaneRule::Rest }])
    }

    pub fn run(&mut self, script: &Script, b: u32, n: u32, payload: Vec<Word>) -> Outcome {
        self.run_on(self.shape.width.ones(), script, b, n, payload)
    }

    pub fn run_on(
        &mut self,
        lanes: Word,
        script: &Script,
        b: u32,
        n: u32,
        payload: Vec<Word>,
    ) -> Outcome {
        assert!(script.0.len() <= 512, "{} bytes", script.0.len());
        let checked = check(script, &self.limits()).unwrap();
        let start = Start { a: WordAddress(0), b: WordAddress(b), n, lanes };
        let mut run = Run::new(&checked, start, payload).unwrap();
        loop {
            if self.stop_at.is_some_and(|at| self.made >= at) {
                run.abort(Abort::Stop);
            }
            match run.step(self, Nanos::ZERO) {
                Status::Running => {}
                Status::Waiting(until) => {
                    let time = until.since(self.module.now());
                    self.module.delay(time);
                }
                Status::Done => break,
            }
        }
        let ended = *run.ended().unwrap();
        Outcome { ended, emitted: run.emitted().to_vec() }
    }

    pub fn words(&self) -> Vec<Word> {
        let bytes = self.module.contents(SPACE).unwrap();
        let stored: Vec<_> = self.shape.width.words(&bytes).collect();
        let at = |module: u32| stored[self.wirings[0].chip_address(module) as usize];
        (0..stored.len() as u32).map(|module| self.at_the_bus(at(module))).collect()
    }

    /// What the bus reads from a word on, which counts from the base.
    pub fn read_words(&mut self, first: u32, count: usize) -> Vec<Word> {
        let (shape, start) = (self.shape, self.base() + first);
        let all = (0..count as u32).map(|n| WordAddress(start + n));
        all.map(|at| Cycles::read(self, &shape, at, Precharge::None)).collect()
    }

    /// Contents past all rules.
    pub fn set_words(&mut self, words: &[Word]) {
        let mut stored = vec![0; words.len()];
        for (module, word) in (0..).zip(words) {
            stored[self.wirings[0].chip_address(module) as usize] = self.at_the_chips(*word);
        }
        let mut bytes = Vec::new();
        for word in stored {
            self.shape.width.put(word, &mut bytes);
        }
        assert!(self.module.set_contents(SPACE, &bytes));
    }

    pub fn chips(&self) -> &[Chip] {
        self.module.chips(SPACE)
    }

    pub fn violations(&self) -> Vec<String> {
        let chips = self.chips().iter().enumerate();
        chips
            .flat_map(|(n, chip)| {
                let seen = chip.books().violations.iter();
                seen.map(move |(_, what)| format!("chip {n}: {what}"))
            })
            .collect()
    }

    pub fn delay(&mut self, time: Nanos) {
        self.module.delay(time);
    }

    /// The supply comes again after a while.
    pub fn power_again(&mut self) {
        let now = self.module.now();
        self.module.power(now, Millivolts(0));
        self.module.power(now + Nanos::from_secs(1), Millivolts(3300));
        self.cut_at = None;
    }

    fn at_the_chips(&self, word: Word) -> Word {
        let pairs = self.wirings.iter().zip(&self.lanes);
        pairs.fold(0, |all, (wired, lane)| all | lane.put(wired.get(word)))
    }

    fn at_the_bus(&self, word: Word) -> Word {
        let pairs = self.wirings.iter().zip(&self.lanes);
        pairs.fold(0, |all, (wired, lane)| all | wired.put(lane.get(word)))
    }

    fn at_chips(&self, at: WordAddress) -> WordAddress {
        let base = self.base();
        WordAddress(base + self.wirings[0].chip_address(at.0.wrapping_sub(base)))
    }

    fn count(&mut self) {
        self.made += 1;
        if self.cut_at == Some(self.made) {
            let now = self.module.now();
            self.module.power(now, Millivolts(0));
        }
    }
}

impl Cycles for Rig {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        self.count();
        let word = self.module.read(shape, self.at_chips(address), precharge);
        self.at_the_bus(word)
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        self.count();
        self.written.push((address.0, value));
        self.module.write(shape, self.at_chips(address), self.at_the_chips(value));
    }

    fn delay(&mut self, time: Nanos) {
        self.module.delay(time);
    }

    fn now(&self) -> Nanos {
        self.module.now()
    }
}

impl Env for Rig {
    fn shape(&self, slot: ShapeId) -> Option<Shape> {
        (slot == SHAPE).then_some(self.shape)
    }

    fn lane_rule(&self, _: ShapeId) -> LaneRule {
        LaneRule::Rest
    }

    fn may_write(&self, _: ShapeId, address: WordAddress, _: Word) -> bool {
        self.permit.0.contains(&address.0) || self.permit.1.contains(&address)
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, _: Word) -> Word {
        Cycles::read(self, shape, address, Precharge::None)
    }

    fn write_lanes(&mut self, shape: &Shape, address: WordAddress, value: Word, _: Word) {
        Cycles::write(self, shape, address, value);
    }

    fn line(&mut self, _: Line, _: bool) -> Result<(), LineRefusal> {
        Err(LineRefusal::Missing)
    }

    fn ready(&mut self) -> bool {
        true
    }

    fn powered(&self) -> bool {
        self.cut_at.is_none_or(|at| self.made < at)
    }
}
