//! No write that the recogniser calls harmless, or part of a command, changes a simulated chip.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use crate::bus::{
    Cycles, Lane, Levels, Millivolts, Nanos, Phases, Shape, ShapeTimes, Width, Word, WordAddress,
};
use crate::chips::{Act, Recogniser, Verdict, Wiring};
use crate::sim::{
    ChipConfig, ChipFaults, ChipType, MemoryConfig, MemoryKind, Module, ModuleConfig, Socket,
};

const SPACE: &str = "store";

/// One chip with supply.
struct Poked {
    module: Module,
    shape: Shape,
    words: u32,
}

/// What must stay as it is, and a clue that words were changed.
type Marks = (u64, Vec<u32>, Vec<bool>);

impl Poked {
    fn new(kind: &ChipType, bits: u8) -> Self {
        let width = Width::from_bits(bits.into()).unwrap();
        let words = kind.words(bits);
        let (oe, we, cs) = (1, 2, 4);
        let low = |lines| Levels { mask: lines, level: 0 };
        let idle = Levels { mask: oe | we | cs, level: oe | we | cs };
        let memory = MemoryConfig {
            name: SPACE.to_owned(),
            kind: MemoryKind::Flash,
            width,
            first_line: 0,
            base: WordAddress(0),
            words,
            read: low(oe | cs),
            write: low(we | cs),
            access: Nanos(100),
            chips: vec![ChipConfig { kind: kind.clone(), faults: ChipFaults::default() }],
            held: Nanos::ZERO,
        };
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
        Self { module: Module::new(config, 3), shape, words }
    }

    fn power(&mut self) {
        let now = self.module.now();
        self.module.power(now, Millivolts(0));
        self.module.power(now + Nanos::from_secs(1), Millivolts(3300));
    }

    fn marks(&self) -> Marks {
        let chip = &self.module.chips(SPACE)[0];
        let books = chip.books();
        let locks = (0..books.erases.len()).map(|n| chip.is_locked(n)).collect();
        (books.programs, books.erases.clone(), locks)
    }

    /// Everything that was begun has ended.
    fn settle(&mut self) {
        for _ in 0..3 {
            self.module.delay(Nanos::from_secs(700));
        }
    }
}

/// Commands of every family, as values.
const COMMANDS: [&[u8]; 20] = [
    &[0xAA, 0x55, 0xA0, 0x12],
    &[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x30],
    &[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x50],
    &[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x10],
    &[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x20],
    &[0xAA, 0x55, 0x20, 0xA0, 0x00],
    &[0xA0, 0x00, 0xA0, 0x3C],
    &[0x90, 0x00],
    &[0xAA, 0x55, 0x25, 0x01, 0x10, 0x20, 0x29],
    &[0x25, 0x00, 0x33, 0x29],
    &[0xAA, 0x55, 0xF0],
    &[0xAA, 0x55, 0x90, 0xF0],
    &[0x20, 0xD0],
    &[0x40, 0x12],
    &[0x10, 0x34],
    &[0xE8, 0x01, 0x12, 0x34, 0xD0],
    &[0x60, 0x01],
    &[0x60, 0xD0],
    &[0xB0, 0xD0],
    &[0x50, 0xFF],
];

/// Addresses that mean something to a chip, and some that mean nothing.
fn address(rng: &mut fastrand::Rng, index: usize, words: u32) -> u32 {
    let unlock = [[0x555, 0x2AA], [0xAAA, 0x555], [0x5555, 0x2AAA]];
    match rng.u8(..8) {
        0 => rng.u32(..words),
        1 => rng.u32(..8),
        _ => unlock[rng.usize(..3)][index % 2],
    }
}

/// A few commands in a row, with the mistakes of a person.
fn writes(rng: &mut fastrand::Rng, words: u32) -> Vec<(u32, u8)> {
    let mut all = Vec::new();
    // Who knows the chip uses the same unlock addresses throughout.
    let style = rng.usize(..4);
    let unlock = [[0x555, 0x2AA], [0xAAA, 0x555], [0x5555, 0x2AAA]];
    for _ in 0..rng.usize(1..4) {
        let command = COMMANDS[rng.usize(..COMMANDS.len())];
        let target = rng.u32(..words);
        for (index, value) in command.iter().enumerate() {
            let last = index + 1 == command.len();
            let at = match unlock.get(style) {
                _ if last || command[0] != 0xAA => target,
                Some(pair) => pair[index % 3 % 2],
                None => address(rng, index, words),
            };
            all.push((at, *value));
        }
    }
    for _ in 0..rng.usize(..3) {
        let at = rng.usize(..=all.len());
        let place = address(rng, at, words);
        match rng.u8(..4) {
            0 => all.insert(at, (place, rng.u8(..))),
            1 if at < all.len() => {
                all.remove(at);
            }
            2 if at < all.len() => all[at].1 = rng.u8(..),
            3 if at < all.len() => all[at].0 = place,
            _ => {}
        }
    }
    all
}

#[test]
fn nothing_that_changes_a_chip_is_called_harmless() {
    let mut rng = fastrand::Rng::with_seed(77);
    let (mut caught, mut refused) = (0, 0);
    for name in ChipType::builtin_names() {
        let kind = ChipType::builtin(&name).unwrap();
        for bits in kind.widths.clone() {
            let mut poked = Poked::new(&kind, bits);
            let words = poked.words;
            let wiring = Wiring::straight(Lane { first: 0, bits });
            for _ in 0..400 {
                poked.power();
                let fresh = || Recogniser::new(vec![wiring.clone()], poked.shape.width);
                let mut watching = fresh();
                let marks = poked.marks();
                let all = writes(&mut rng, words);
                for (at, value) in &all {
                    let word = Word::from(*value);
                    let verdict: Verdict = watching.would(*at, word);
                    caught += u32::from(verdict.changes());
                    refused += u32::from(verdict.act == Act::Permanent);
                    // A person who is asked says no.
                    if !verdict.changes() {
                        watching.saw(*at, word);
                        poked.module.write(&poked.shape, WordAddress(*at), word);
                        poked.module.delay(Nanos(rng.u64(..2_000)));
                    }
                }
                poked.settle();
                assert_eq!(poked.marks(), marks, "{name} on {bits} lines: {all:X?}");
            }
        }
    }
    assert!(caught > 1000 && refused > 10, "{caught} {refused}");
}

/// The same when the person says yes: what follows a change is judged as well.
#[test]
fn after_a_change_nothing_else_slips_through() {
    let mut rng = fastrand::Rng::with_seed(78);
    for name in ChipType::builtin_names() {
        let kind = ChipType::builtin(&name).unwrap();
        let bits = kind.widths[0];
        let mut poked = Poked::new(&kind, bits);
        let wiring = Wiring::straight(Lane { first: 0, bits });
        for _ in 0..120 {
            poked.power();
            let mut watching = Recogniser::new(vec![wiring.clone()], poked.shape.width);
            let mut marks = poked.marks();
            let all: Vec<_> = (0..3).flat_map(|_| writes(&mut rng, poked.words)).collect();
            for (at, value) in &all {
                let word = Word::from(*value);
                let verdict = watching.saw(*at, word);
                if verdict.is_refused() {
                    break;
                }
                poked.module.write(&poked.shape, WordAddress(*at), word);
                if verdict.changes() {
                    poked.settle();
                    watching.paused();
                    marks = poked.marks();
                }
            }
            poked.settle();
            assert_eq!(poked.marks(), marks, "{name} on {bits} lines: {all:X?}");
        }
    }
}
