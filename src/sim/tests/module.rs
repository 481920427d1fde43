//! The module: selects, access time, supply, RAM, line faults.

use super::*;
use crate::bus::{Cycles, Span, Word};
use crate::sim::{
    Faulty, Line, LineFault, MemoryConfig, MemoryKind, Module, ModuleConfig, ModuleViolation,
    Socket, Trouble,
};

fn memory(name: &str, kind: MemoryKind, select: u16, first_line: u8, width: Width) -> MemoryConfig {
    MemoryConfig {
        name: name.to_owned(),
        kind,
        width,
        first_line,
        base: WordAddress(0),
        words: 0x100,
        read: low(select | OE),
        write: low(select | WE),
        access: Nanos(100),
        chips: Vec::new(),
        held: Nanos::ZERO,
    }
}

fn module_of(memories: Vec<MemoryConfig>) -> Module {
    let pulls = Levels { mask: 15, level: 15 };
    let mut module = Module::new(ModuleConfig { memories, pulls, needs: Millivolts(2700) }, 1);
    module.power(Nanos::ZERO, Millivolts(3300));
    module
}

const RAM: MemoryKind = MemoryKind::Ram { battery: true };

fn ram() -> Module {
    module_of(vec![memory("ram", RAM, CS1, 0, Width::W32)])
}

fn at(address: u32) -> WordAddress {
    WordAddress(address)
}

fn violations(socket: &dyn Socket) -> Vec<ModuleViolation> {
    socket.books().unwrap().violations.clone()
}

#[test]
fn ram_keeps_what_is_written() {
    let mut ram = ram();
    for n in 0..0x100 {
        ram.write(&records_shape(), at(n), n * 0x0101_0101);
    }
    let mut words = Vec::new();
    ram.read_burst(&records_shape(), Span::down(at(0), 0x100), Precharge::Zeros, &mut words);
    words.reverse();
    assert!(words.iter().enumerate().all(|(n, word)| *word == n as u32 * 0x0101_0101));
    assert_eq!(ram.books().unwrap().violation_count, 0);
    assert_eq!(Socket::contents(&ram, "ram").unwrap()[4..8], [1, 1, 1, 1]);
}

#[test]
fn nothing_answers_beyond_the_memory_or_unselected() {
    let mut ram = ram();
    ram.write(&records_shape(), at(5), 0x1234_5678);
    for (precharge, wanted) in [(Precharge::Zeros, 0), (Precharge::Ones, u32::MAX)] {
        assert_eq!(ram.read(&records_shape(), at(0x100), precharge), wanted);
        assert_eq!(ram.read(&store_shape(), at(5), precharge), wanted);
    }
    // Without a precharge the lines keep what was there last.
    assert_eq!(ram.read(&records_shape(), at(5), Precharge::Ones), 0x1234_5678);
    assert_eq!(ram.read(&records_shape(), at(0x100), Precharge::None), 0x1234_5678);
    assert_eq!(ram.books().unwrap().violation_count, 0);
}

#[test]
fn a_burst_over_the_end_is_the_same_as_single_reads() {
    let (mut one, mut other) = (ram(), ram());
    let span = Span::up(at(0xF8), 16);
    let mut burst = Vec::new();
    one.read_burst(&records_shape(), span, Precharge::Zeros, &mut burst);
    let single: Vec<Word> =
        span.addresses().map(|a| other.read(&records_shape(), a, Precharge::Zeros)).collect();
    assert_eq!(burst, single);
    assert_eq!((burst[7], burst[8]), (u32::MAX, 0));
    assert_eq!(one.now(), other.now());
}

#[test]
fn lanes_join_and_a_clash_is_booked() {
    let byte = |name, first| memory(name, RAM, CS1, first, Width::W8);
    let mut lanes = module_of(vec![byte("low", 0), byte("high", 8)]);
    let shape = shape_of(Width::W16, CS1, true);
    lanes.write(&shape, at(1), 0xBEEF);
    assert_eq!(lanes.read(&shape, at(1), Precharge::Zeros), 0xBEEF);
    assert_eq!(Socket::contents(&lanes, "high").unwrap()[1], 0xBE);
    assert!(violations(&lanes).is_empty());
    let mut clash = module_of(vec![byte("a", 0), byte("b", 0)]);
    clash.set_contents("a", &[0xF0]);
    clash.set_contents("b", &[0x3C]);
    let shape = shape_of(Width::W8, CS1, false);
    assert_eq!(clash.read(&shape, at(0), Precharge::Ones), 0x30);
    assert_eq!(violations(&clash), [ModuleViolation::TwoSelected(at(0))]);
}

#[test]
fn a_read_too_fast_is_inverted() {
    let mut ram = ram();
    ram.write(&records_shape(), at(0), 0x00FF_1234);
    let mut fast = records_shape();
    (fast.times.setup, fast.times.pulse) = (20, 79);
    assert_eq!(ram.read(&fast, at(0), Precharge::None), !0x00FF_1234);
    fast.times.pulse = 80;
    assert_eq!(ram.read(&fast, at(0), Precharge::None), 0x00FF_1234);
    assert_eq!(violations(&ram), [ModuleViolation::TooFast(at(0), 99)]);
}

#[test]
fn without_supply_nothing_answers() {
    let mut ram = ram();
    ram.write(&records_shape(), at(0), 0x0F0F_0F0F);
    ram.power(Nanos(5), Millivolts(2_699));
    assert_eq!(ram.read(&records_shape(), at(0), Precharge::Ones), u32::MAX);
    ram.write(&records_shape(), at(0), 0);
    assert_eq!(violations(&ram), [ModuleViolation::Unpowered(at(0), Millivolts(2_699)); 2]);
    ram.power(Nanos(9), Millivolts(3_300));
    assert_eq!(ram.read(&records_shape(), at(0), Precharge::Zeros), 0x0F0F_0F0F);
}

#[test]
fn ram_without_a_cell_comes_up_as_noise() {
    let kind = MemoryKind::Ram { battery: false };
    let mut ram = module_of(vec![memory("ram", kind, CS1, 0, Width::W32)]);
    let first = Socket::contents(&ram, "ram").unwrap();
    assert!(first.iter().any(|byte| *byte != first[0]));
    ram.power(Nanos(5), Millivolts(0));
    ram.power(Nanos(9), Millivolts(3_300));
    assert_ne!(Socket::contents(&ram, "ram").unwrap(), first);
}

#[test]
fn flash_ignores_writes_and_books_them() {
    let mut flash = module_of(vec![memory("store", MemoryKind::Flash, CS1, 0, Width::W32)]);
    flash.write(&records_shape(), at(3), 0);
    flash.write(&shape_of(Width::W32, CS1, false), at(4), 0);
    assert_eq!(
        violations(&flash),
        [ModuleViolation::WriteIgnored(at(3)), ModuleViolation::NoWriteShape(at(4))]
    );
    assert!(Socket::contents(&flash, "store").unwrap().iter().all(|byte| *byte == 0xFF));
}

fn faulty(line: Line, trouble: Trouble) -> Faulty<Module> {
    let mut ram = ram();
    for n in 0..0x100 {
        ram.write(&records_shape(), at(n), n | n << 8 | n << 24);
    }
    Faulty::new(ram, vec![LineFault { line, trouble }], 4)
}

fn both(socket: &mut impl Cycles, address: u32) -> (Word, Word) {
    let shape = records_shape();
    (
        socket.read(&shape, at(address), Precharge::Zeros),
        socket.read(&shape, at(address), Precharge::Ones),
    )
}

#[test]
fn data_line_faults() {
    let bit = 1 << 3;
    let word = 0xA500_A5A5;
    let mut open = faulty(Line::Data(3), Trouble::Open { pull: None });
    assert_eq!(both(&mut open, 0xA5), (word, word | bit));
    assert_eq!(open.read(&records_shape(), at(0xA5), Precharge::None), word | bit);
    let mut pulled = faulty(Line::Data(3), Trouble::Open { pull: Some(true) });
    assert_eq!(both(&mut pulled, 0xA5), (word | bit, word | bit));
    let mut stuck = faulty(Line::Data(0), Trouble::StuckLow);
    assert_eq!(both(&mut stuck, 0xA5), (word & !1, word & !1));
    let mut stuck = faulty(Line::Data(16), Trouble::StuckHigh);
    assert_eq!(both(&mut stuck, 0xA5), (word | 1 << 16, word | 1 << 16));
    let mut short = faulty(Line::Data(0), Trouble::ShortedTo(Line::Data(1)));
    assert_eq!(both(&mut short, 0xA5), (word & !1, word & !1));
    assert_eq!(both(&mut short, 0x03), (0x0300_0303, 0x0300_0303));
}

#[test]
fn address_line_faults() {
    let mut stuck = faulty(Line::Address(2), Trouble::StuckHigh);
    assert_eq!(stuck.read(&records_shape(), at(0x10), Precharge::Ones) & 0xFF, 0x14);
    let mut open = faulty(Line::Address(2), Trouble::Open { pull: None });
    assert_eq!(open.read(&records_shape(), at(0x14), Precharge::Ones) & 0xFF, 0x10);
    let mut short = faulty(Line::Address(2), Trouble::ShortedTo(Line::Address(4)));
    assert_eq!(short.read(&records_shape(), at(0x10), Precharge::Ones) & 0xFF, 0);
    assert_eq!(short.read(&records_shape(), at(0x14), Precharge::Ones) & 0xFF, 0x14);
    let mut words = Vec::new();
    stuck.read_burst(&records_shape(), Span::up(at(0), 8), Precharge::None, &mut words);
    let low: Vec<Word> = words.iter().map(|word| word & 0xFF).collect();
    assert_eq!(low, [4, 5, 6, 7, 4, 5, 6, 7]);
}

#[test]
fn unsteady_lines_are_wrong_now_and_then_and_only_where_said() {
    let trouble = Trouble::Unsteady { chance: 0.25, within: Some(0x40..0x80) };
    let mut unsteady = faulty(Line::Data(5), trouble);
    let mut words = Vec::new();
    let span = Span::up(at(0), 0x100);
    unsteady.read_burst(&records_shape(), span, Precharge::None, &mut words);
    let wrong: Vec<u32> =
        (0..0x100_u32).filter(|n| words[*n as usize] != n | n << 8 | n << 24).collect();
    assert!((4..30).contains(&wrong.len()), "{wrong:?}");
    assert!(wrong.iter().all(|n| (0x40..0x80).contains(n)));
}

#[test]
fn writes_go_through_the_same_lines() {
    let mut stuck = faulty(Line::Data(0), Trouble::StuckLow);
    stuck.write(&records_shape(), at(0), 0xFFFF_FFFF);
    assert_eq!(stuck.inner().contents("ram").unwrap()[..4], [0xFE, 0xFF, 0xFF, 0xFF]);
}
