//! AMD type: erase. Six cycles, window of 50 us, DQ3, suspend and resume: `Am29LV160D` datasheet.

use super::*;
use crate::sim::chips::{ChipPace, ChipState, StuckBit, Wear};

const ERASE: [(u32, u16); 5] =
    [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x80), (0x555, 0xAA), (0x2AA, 0x55)];
const PROGRAM: [(u32, u16); 3] = [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0xA0)];
/// Word addresses in sectors 4 and 5 of the bottom-boot part: 64 KiB each from 64 KiB on.
const SECTOR_4: u32 = 0x8000;
const SECTOR_5: u32 = 0x1_0000;

fn filled(faults: ChipFaults) -> Rig {
    let mut rig = Rig::with("S29AL008J", 16, faults);
    rig.fill(3);
    rig
}

fn blank(rig: &Rig, sector: usize) -> bool {
    let range = rig.chip.kind().sector_ranges(16)[sector].clone();
    rig.chip.words()[range.start as usize..range.end as usize].iter().all(|word| *word == 0xFFFF)
}

#[test]
fn sectors_can_be_added_for_50_us() {
    let mut rig = filled(ChipFaults::default());
    rig.writes(&ERASE);
    rig.write(SECTOR_4, 0x30);
    rig.wait_us(40);
    let (first, changed) = rig.twice(SECTOR_4, DQ7 | DQ6 | DQ5 | DQ3 | DQ2);
    assert_eq!((first & (DQ7 | DQ5 | DQ3), changed), (0, DQ6 | DQ2));
    rig.write(SECTOR_5, 0x30);
    rig.wait_us(49);
    assert_eq!(rig.read(SECTOR_5) & DQ3, 0);
    rig.wait_us(2);
    assert_eq!(rig.read(SECTOR_5) & DQ3, DQ3);
    rig.write(0x2_0000, 0x30);
    assert_eq!(rig.violations(), [ChipViolation::Busy(0x2_0000, 0x30)]);
    // DQ2 toggles in the chosen sectors only.
    assert_eq!(rig.twice(SECTOR_5 + 9, DQ6 | DQ2).1, DQ6 | DQ2);
    assert_eq!(rig.twice(0x2_0000, DQ6 | DQ2).1, DQ6);
    rig.wait_ms(701);
    assert!(blank(&rig, 4) && !blank(&rig, 5) && rig.chip.state() == ChipState::Busy);
    rig.wait_ms(700);
    assert!(blank(&rig, 5) && !blank(&rig, 6) && rig.chip.state() == ChipState::Array);
    assert_eq!(rig.chip.books().erases[3..7], [0, 1, 1, 0]);
}

#[test]
fn another_command_in_the_window_erases_nothing() {
    let mut rig = filled(ChipFaults::default());
    let before = rig.words();
    rig.writes(&ERASE);
    rig.write(SECTOR_4, 0x30);
    rig.write(0x555, 0xAA);
    assert_eq!(rig.chip.state(), ChipState::Array);
    rig.wait_ms(2_000);
    assert_eq!(rig.words(), before);
}

#[test]
fn protected_sectors_are_left_out() {
    let mut rig = filled(ChipFaults { locked: vec![4], ..Default::default() });
    let before = rig.words();
    rig.writes(&ERASE);
    rig.write(SECTOR_4, 0x30);
    rig.wait_us(60);
    assert_eq!(rig.twice(SECTOR_4, DQ6).1, DQ6);
    // From memory: about 100 us, then the array again.
    rig.wait_us(100);
    assert_eq!((rig.chip.state(), rig.words()), (ChipState::Array, before));
    rig.writes(&ERASE);
    rig.writes(&[(SECTOR_4, 0x30), (SECTOR_5, 0x30)]);
    rig.wait_ms(701);
    assert!(!blank(&rig, 4) && blank(&rig, 5) && rig.chip.state() == ChipState::Array);
    rig.writes(&ERASE);
    rig.write(0x555, 0x10);
    rig.wait_ms(14_000);
    let blanks = (0..19).filter(|sector| blank(&rig, *sector)).count();
    assert_eq!((blanks, blank(&rig, 4), rig.chip.state()), (18, false, ChipState::Array));
}

#[test]
fn chip_erase() {
    let mut rig = filled(ChipFaults::default());
    rig.writes(&ERASE);
    rig.write(0x555, 0x10);
    // Suspend is for sectors only.
    rig.write(0, 0xB0);
    rig.wait_ms(13_900);
    let (first, changed) = rig.twice(0, DQ7 | DQ6 | DQ5);
    assert_eq!((first & (DQ7 | DQ5), changed), (0, DQ6));
    rig.wait_ms(100);
    assert!(rig.words().iter().all(|word| *word == 0xFFFF));
    assert_eq!(rig.violations(), [ChipViolation::Busy(0, 0xB0)]);
    assert!(rig.chip.books().erases.iter().all(|count| *count == 1));
}

#[test]
fn an_erase_is_suspended_and_resumed() {
    let mut rig = filled(ChipFaults::default());
    let other = rig.read(0x2_0001);
    rig.chip.set(0x2_0002, 0xFFFF);
    rig.writes(&ERASE);
    rig.write(SECTOR_4, 0x30);
    rig.wait_ms(300);
    rig.write(0, 0xB0);
    assert_eq!(rig.chip.state(), ChipState::Busy);
    rig.wait_us(5);
    assert_eq!(rig.chip.state(), ChipState::Suspended);
    assert_eq!(rig.twice(0x2_0001, 0xFFFF), (other, 0));
    let (first, changed) = rig.twice(SECTOR_4, DQ7 | DQ6 | DQ5 | DQ2);
    assert_eq!((first & (DQ7 | DQ5), changed), (DQ7, DQ2));
    // Programming elsewhere is possible, in the suspended sector not.
    rig.writes(&PROGRAM);
    rig.write(0x2_0002, 0x55AA);
    rig.wait_us(11);
    assert_eq!(rig.read(0x2_0002), 0x55AA);
    rig.writes(&PROGRAM);
    rig.write(SECTOR_4, 0);
    assert_eq!(rig.violations(), [ChipViolation::Suspended(SECTOR_4)]);
    rig.wait_ms(5_000);
    rig.write(0, 0x30);
    rig.wait_ms(399);
    assert_eq!(rig.chip.state(), ChipState::Busy);
    rig.wait_ms(2);
    assert!(blank(&rig, 4) && rig.chip.state() == ChipState::Array);
    assert_eq!(rig.read(0x2_0001), other);
}

#[test]
fn a_suspend_in_the_window_is_immediate() {
    let mut rig = filled(ChipFaults::default());
    let before = rig.words();
    rig.writes(&ERASE);
    rig.writes(&[(SECTOR_4, 0x30), (0, 0xB0)]);
    assert_eq!((rig.chip.state(), rig.words()), (ChipState::Suspended, before));
    rig.write(0, 0x30);
    rig.wait_ms(701);
    assert!(blank(&rig, 4));
}

#[test]
fn a_worn_sector_ends_with_dq5_or_never() {
    for (wear, state) in [(Wear::Reported, ChipState::Failed), (Wear::Never, ChipState::Busy)] {
        let mut rig = filled(ChipFaults { worn: vec![(4, wear)], ..Default::default() });
        rig.writes(&ERASE);
        rig.write(SECTOR_4, 0x30);
        rig.wait_ms(14_999);
        assert_eq!(rig.read(SECTOR_4) & DQ5, 0);
        rig.wait_ms(2);
        assert_eq!(rig.chip.state(), state);
        let (first, changed) = rig.twice(SECTOR_4, DQ7 | DQ6 | DQ5);
        let failed = if wear == Wear::Reported { DQ5 } else { 0 };
        assert_eq!((first & (DQ7 | DQ5), changed), (failed, DQ6));
        rig.write(0, 0xF0);
        let array = wear == Wear::Reported;
        assert_eq!(rig.chip.state() == ChipState::Array, array);
        assert!(!blank(&rig, 4));
    }
}

#[test]
fn a_cell_stuck_low_fails_the_erase() {
    let stuck = vec![StuckBit { at: SECTOR_4 + 1, bit: 15, high: false }];
    let mut rig = filled(ChipFaults { stuck, ..Default::default() });
    rig.writes(&ERASE);
    rig.write(SECTOR_4, 0x30);
    rig.wait_ms(15_001);
    assert_eq!(rig.chip.state(), ChipState::Failed);
    rig.write(0, 0xF0);
    assert_eq!((rig.read(SECTOR_4), rig.read(SECTOR_4 + 1)), (0xFFFF, 0x7FFF));
}

#[test]
fn one_chip_is_early_and_one_is_late() {
    for (pace, ms) in [
        (ChipPace::Percent(50), 350),
        (ChipPace::Typical, 700),
        (ChipPace::Percent(300), 2_100),
        (ChipPace::NearLongest, 14_250),
    ] {
        let mut rig = filled(ChipFaults { pace, ..Default::default() });
        rig.writes(&ERASE);
        rig.write(SECTOR_4, 0x30);
        rig.wait_ms(ms - 1);
        assert_eq!(rig.chip.state(), ChipState::Busy, "{pace:?}");
        rig.wait_ms(2);
        assert_eq!(rig.chip.state(), ChipState::Array, "{pace:?}");
    }
}
