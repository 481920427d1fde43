//! Chips in a module: lanes, bursts, supply. Sequences of the AMD type, `Am29LV160D` datasheet table 9.

use super::*;
use crate::bus::{Cycles, Span, Word};
use crate::sim::{ChipState, ChipViolation, Socket};

/// A built-in module with supply, its text changed by `edit`.
pub(super) fn module(name: &str, edit: impl FnOnce(&mut BenchDescription)) -> Box<dyn Socket> {
    let mut description = BenchDescription::builtin(name).unwrap();
    edit(&mut description);
    let mut module = description.module(1);
    module.power(Nanos::ZERO, Millivolts(3300));
    module
}

pub(super) fn shape(width: Width) -> Shape {
    shape_of(width, CS0, true)
}

pub(super) fn writes(module: &mut dyn Socket, width: Width, cycles: &[(u32, Word)]) {
    for (at, value) in cycles {
        module.write(&shape(width), WordAddress(*at), *value);
    }
}

pub(super) fn read(module: &mut dyn Socket, width: Width, at: u32) -> Word {
    module.read(&shape(width), WordAddress(at), Precharge::None)
}

pub(super) const ERASE: [(u32, Word); 5] = [
    (0x555, 0x00AA_00AA),
    (0x2AA, 0x0055_0055),
    (0x555, 0x0080_0080),
    (0x555, 0x00AA_00AA),
    (0x2AA, 0x0055_0055),
];

fn states(module: &dyn Socket) -> Vec<ChipState> {
    module.chips("store").iter().map(super::super::Chip::state).collect()
}

#[test]
fn contents_are_those_without_chips() {
    for name in ["TG-7", "TG-7b", "TG-7c"] {
        let with = module(name, |_| ()).contents("store").unwrap();
        let without = module(name, |d| d.memories[0].0.chips.clear()).contents("store").unwrap();
        assert!(with == without, "{name}");
        assert!(with.starts_with(format!("SALTMARSH {name} PROGRAM").as_bytes()));
    }
}

#[test]
fn codes_of_every_lane() {
    let mut tg7 = module("TG-7", |_| ());
    writes(&mut tg7, Width::W32, &ERASE[..2]);
    writes(&mut tg7, Width::W32, &[(0x555, 0x0090_0090)]);
    assert_eq!(read(&mut tg7, Width::W32, 0), 0x0001_0001);
    assert_eq!(read(&mut tg7, Width::W32, 1), 0x225B_225B);
    assert_eq!(states(&*tg7), [ChipState::Codes; 2]);
    let mut narrow = module("TG-7b", |_| ());
    writes(&mut narrow, Width::W16, &[(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)]);
    assert_eq!([0, 1].map(|at| read(&mut narrow, Width::W16, at)), [0x0004, 0x22F9]);
    let mut four_lanes = module("TG-7c", |_| ());
    let cycles = [(0x555, 0xAAAA_AAAA), (0x2AA, 0x5555_5555), (0x555, 0x9090_9090)];
    writes(&mut four_lanes, Width::W32, &cycles);
    assert_eq!([0, 1].map(|at| read(&mut four_lanes, Width::W32, at)), [0x0101_0101, 0x4F4F_4F4F]);
}

#[test]
fn one_lane_alone_is_programmed() {
    let mut four_lanes = module("TG-7c", |_| ());
    let at = 0x6_0000;
    assert_eq!(read(&mut four_lanes, Width::W32, at), u32::MAX);
    // The other lanes get F0, which changes nothing.
    let lane = |code: Word| 0xF0F0_F0F0 & !0x00FF_0000 | code << 16;
    writes(
        &mut four_lanes,
        Width::W32,
        &[(0x555, lane(0xAA)), (0x2AA, lane(0x55)), (0x555, lane(0xA0))],
    );
    writes(&mut four_lanes, Width::W32, &[(at, lane(0x42))]);
    four_lanes.delay(Nanos::from_micros(20));
    assert_eq!(read(&mut four_lanes, Width::W32, at), 0xFF42_FFFF);
    assert!(four_lanes.chips("store").iter().all(|chip| chip.books().violation_count == 0));
}

#[test]
fn a_narrow_shape_strobes_every_lane() {
    let mut tg7 = module("TG-7", |_| ());
    let upper = Shape { first_line: 16, ..shape(Width::W16) };
    for (at, value) in [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)] {
        tg7.write(&upper, WordAddress(at), value);
    }
    assert_eq!(tg7.read(&upper, WordAddress(1), Precharge::None), 0x225B);
    // The chip on D0 to D15 saw three writes of whatever was on its lines.
    let low = tg7.chips("store")[0].books();
    assert_eq!((low.writes, low.violation_count), (3, 3));
}

#[test]
fn a_burst_over_a_busy_chip_shows_its_status() {
    let mut tg7 = module("TG-7", |_| ());
    let span = Span::up(WordAddress(0x8000), 64);
    let mut array = Vec::new();
    tg7.read_burst(&shape(Width::W32), span, Precharge::Zeros, &mut array);
    let plain = tg7.contents("store").unwrap();
    let wanted: Vec<Word> = Width::W32.words(&plain[0x2_0000..0x2_0100]).collect();
    assert_eq!(array, wanted);
    // The low lane erases, the high one does not.
    let low: Vec<_> = ERASE.iter().map(|(at, value)| (*at, value & 0xFFFF | 0x00F0_0000)).collect();
    writes(&mut tg7, Width::W32, &low);
    writes(&mut tg7, Width::W32, &[(0x8000, 0x00F0_0030)]);
    let mut busy = Vec::new();
    tg7.read_burst(&shape(Width::W32), span, Precharge::Zeros, &mut busy);
    assert!(busy.windows(2).all(|pair| (pair[0] ^ pair[1]) & 0x40 == 0x40));
    assert!(busy.iter().zip(&wanted).all(|(got, word)| got >> 16 == word >> 16));
    tg7.delay(Nanos::from_millis(701));
    let mut blank = Vec::new();
    tg7.read_burst(&shape(Width::W32), span, Precharge::Zeros, &mut blank);
    assert!(blank.iter().zip(&wanted).all(|(got, word)| *got == word | 0xFFFF));
}

#[test]
fn a_burst_is_the_same_as_single_reads() {
    for step in [1, -1, 3, 0] {
        let [mut one, mut other] = [0; 2].map(|_| module("TG-7c", |_| ()));
        let span = Span { start: WordAddress(0x1000), step, count: 100 };
        let mut burst = Vec::new();
        one.read_burst(&shape(Width::W32), span, Precharge::Ones, &mut burst);
        let single: Vec<Word> = span
            .addresses()
            .map(|at| other.read(&shape(Width::W32), at, Precharge::Ones))
            .collect();
        assert_eq!(burst, single);
    }
}

#[test]
fn a_cut_supply_spoils_the_sector_in_hand() {
    let mut tg7 = module("TG-7", |_| ());
    let before = tg7.contents("store").unwrap();
    writes(&mut tg7, Width::W32, &ERASE);
    writes(&mut tg7, Width::W32, &[(0x8000, 0x0030_0030)]);
    tg7.delay(Nanos::from_millis(300));
    let now = tg7.now();
    tg7.power(now, Millivolts(0));
    tg7.power(now + Nanos::from_secs(1), Millivolts(3300));
    let after = tg7.contents("store").unwrap();
    assert_eq!(after[..0x2_0000], before[..0x2_0000]);
    assert_ne!(after[0x2_0000..0x4_0000], before[0x2_0000..0x4_0000]);
    assert_eq!(after[0x4_0000..], before[0x4_0000..]);
    for chip in tg7.chips("store") {
        assert_eq!(chip.books().violations[0].1, ChipViolation::SupplyCut);
    }
}

#[test]
fn tg_7c_is_read_over_the_wire() {
    let mut host = Host::edited("TG-7c", |_| ());
    host.make_ready();
    let store = host.contents("store");
    assert_eq!(host.read(echo(0, 0x7_E000, 200)), store[0x1F_8000..0x1F_8000 + 800]);
    assert!(String::from_utf8_lossy(&store[0x1F_8000..]).contains("TG-7c #0051"));
}
