//! AMD type: codes, CFI, program, bypass. Sequences of `Am29LV160D` datasheet, table 9 (word mode:
//! 555/2AA; byte mode: AAA/555).

use super::*;
use crate::sim::chips::{ChipState, StuckBit};

const CODES: [(u32, u16); 3] = [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)];
const PROGRAM: [(u32, u16); 3] = [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0xA0)];
const PART: &str = "S29AL008J";

fn programmed(rig: &mut Rig, at: u32, data: u16) {
    rig.writes(&PROGRAM);
    rig.write(at, data);
    rig.wait_us(20);
}

#[test]
fn codes_are_read_and_left_by_reset() {
    let mut rig = Rig::with(PART, 16, ChipFaults { locked: vec![1], ..Default::default() });
    rig.writes(&CODES);
    assert_eq!(rig.chip.state(), ChipState::Codes);
    assert_eq!((rig.read(0), rig.read(1)), (0x0001, 0x225B));
    // Sector protect verify at sector address + 2: 00 unprotected, 01 protected.
    assert_eq!((rig.read(0x0002), rig.read(0x2002)), (0, 1));
    rig.write(0x1234, 0xF0);
    assert_eq!((rig.read(0), rig.chip.state()), (0xFFFF, ChipState::Array));
    // Address bits above A10 and the upper data byte do not count.
    rig.writes(&[(0x7_F555, 0x12AA), (0x7_F2AA, 0x3455), (0x7_F555, 0x5690)]);
    assert_eq!(rig.read(1), 0x225B);
    assert!(rig.violations().is_empty());
}

#[test]
fn codes_of_three_words() {
    let mut rig = Rig::new("S29GL064N");
    rig.writes(&CODES);
    assert_eq!([1, 0x0E, 0x0F].map(|at| rig.read(at)), [0x227E, 0x2210, 0x2200]);
}

#[test]
fn cfi_is_the_data_and_goes_back_to_where_it_came_from() {
    for part in [PART, "MBM29LV320BE", "S29GL064N"] {
        let mut rig = Rig::new(part);
        rig.write(0x55, 0x98);
        assert_eq!(rig.chip.state(), ChipState::Query);
        rig.assert_query(1);
        rig.write(0, 0xF0);
        assert_eq!(rig.read(0x10), 0xFFFF);
        rig.writes(&CODES);
        rig.write(0x55, 0x98);
        rig.assert_query(1);
        rig.write(0, 0xF0);
        assert_eq!(rig.chip.state(), ChipState::Codes);
    }
    let mut without = Rig::new("Am29LV040B");
    without.write(0x55, 0x98);
    assert_eq!(without.violations(), [ChipViolation::Unknown(0x55, 0x98)]);
}

#[test]
fn byte_mode_doubles_addresses() {
    let mut rig = Rig::with(PART, 8, ChipFaults::default());
    rig.writes(&[(0xAAA, 0xAA), (0x555, 0x55), (0xAAA, 0x90)]);
    assert_eq!((rig.read(0), rig.read(2)), (0x01, 0x5B));
    rig.write(0, 0xF0);
    rig.write(0xAA, 0x98);
    rig.assert_query(2);
    rig.write(0, 0xF0);
    rig.writes(&[(0xAAA, 0xAA), (0x555, 0x55), (0xAAA, 0xA0), (0x1_2345, 0x42)]);
    rig.wait_us(20);
    assert_eq!((rig.read(0x1_2345), rig.read(0x1_2344)), (0x42, 0xFF));
    assert!(rig.violations().is_empty());
    // The addresses of word mode are none here.
    rig.writes(&PROGRAM);
    assert!(!rig.violations().is_empty());
}

#[test]
fn status_while_programming() {
    let mut rig = Rig::new(PART);
    rig.writes(&PROGRAM);
    rig.write(0x100, 0x1280);
    assert_eq!(rig.chip.state(), ChipState::Busy);
    let (first, changed) = rig.twice(0x100, DQ7 | DQ6 | DQ5);
    assert_eq!((first & (DQ7 | DQ5), changed), (0, DQ6));
    // Status is shown at every address; a write is not taken.
    assert_eq!(rig.twice(0x4_0000, DQ6).1, DQ6);
    rig.write(0x555, 0xAA);
    rig.wait_us(11);
    assert_eq!(rig.twice(0x100, 0xFFFF), (0x1280, 0));
    assert_eq!(rig.violations(), [ChipViolation::Busy(0x555, 0xAA)]);
    rig.writes(&PROGRAM);
    rig.write(0x101, 0x7F7F);
    assert_eq!(rig.read(0x101) & DQ7, DQ7);
    assert_eq!(rig.chip.books().programs, 1);
}

#[test]
fn programming_only_clears_bits() {
    let mut rig = Rig::new(PART);
    programmed(&mut rig, 5, 0x0FF0);
    rig.writes(&PROGRAM);
    rig.write(5, 0xFF00);
    rig.wait_us(300);
    assert_eq!(rig.read(5) & DQ5, 0);
    rig.wait_us(60);
    let (first, changed) = rig.twice(5, DQ7 | DQ6 | DQ5);
    assert_eq!((first & (DQ7 | DQ5), changed), (DQ7 | DQ5, DQ6));
    assert_eq!(rig.chip.state(), ChipState::Failed);
    rig.writes(&CODES);
    assert_eq!(rig.chip.state(), ChipState::Failed);
    rig.write(0, 0xF0);
    assert_eq!(rig.read(5), 0x0F00);
    assert!(rig.violations().contains(&ChipViolation::OneOverZero(5)));
}

/// `S29GL-N` datasheet p. 52: it may also look successful; the array then shows the 0.
#[test]
fn ones_over_zeros_may_look_good() {
    let faults = ChipFaults { ones_look_good: true, ..Default::default() };
    let mut rig = Rig::with(PART, 16, faults);
    programmed(&mut rig, 5, 0x0FF0);
    programmed(&mut rig, 5, 0xFF00);
    assert_eq!((rig.chip.state(), rig.read(5)), (ChipState::Array, 0x0F00));
    assert_eq!(rig.violations(), [ChipViolation::OneOverZero(5)]);
}

#[test]
fn a_protected_sector_stops_at_once() {
    let mut rig = Rig::with(PART, 16, ChipFaults { locked: vec![0], ..Default::default() });
    rig.writes(&PROGRAM);
    rig.write(5, 0x0000);
    assert_eq!(rig.twice(5, DQ7 | DQ6).1, DQ6);
    rig.wait_us(1);
    assert_eq!(rig.twice(5, 0xFFFF), (0xFFFF, 0));
    assert_eq!(rig.violations(), [ChipViolation::Protected(0)]);
}

#[test]
fn a_stuck_cell_fails_to_program() {
    let stuck = vec![StuckBit { at: 9, bit: 3, high: true }];
    let mut rig = Rig::with(PART, 16, ChipFaults { stuck, ..Default::default() });
    rig.writes(&PROGRAM);
    rig.write(9, 0xFFF0);
    rig.wait_us(360);
    assert_eq!(rig.read(9) & DQ5, DQ5);
    rig.write(0, 0xF0);
    assert_eq!(rig.read(9), 0xFFF8);
}

/// Unlock bypass: 20, then A0 and data; left by 90 and 00.
#[test]
fn unlock_bypass() {
    let mut rig = Rig::new(PART);
    rig.writes(&[(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x20)]);
    assert_eq!(rig.chip.state(), ChipState::Bypass);
    for at in 0x40..0x50 {
        rig.writes(&[(0, 0xA0), (at, at as u16)]);
        rig.wait_us(11);
        assert_eq!(rig.read(at), at as u16);
    }
    rig.writes(&CODES);
    assert_eq!(rig.violations().len(), 2);
    rig.write(0, 0x00);
    assert_eq!(rig.chip.state(), ChipState::Array);
    rig.writes(&CODES);
    assert_eq!(rig.chip.state(), ChipState::Codes);
}

#[test]
fn a_wrong_cycle_breaks_a_sequence() {
    let mut rig = Rig::new(PART);
    for wrong in 0..3 {
        let mut sequence = PROGRAM;
        sequence[wrong].0 ^= 0x400;
        rig.writes(&sequence);
        rig.write(7, 0x1234);
        rig.wait_ms(1);
        assert_eq!(rig.read(7), 0xFFFF, "cycle {wrong}");
    }
    assert!(rig.chip.books().violation_count >= 3);
    // F0 between the cycles goes back to the array without a complaint.
    let mut rig = Rig::new(PART);
    rig.writes(&PROGRAM[..2]);
    rig.write(0, 0xF0);
    assert_eq!((rig.chip.state(), rig.violations().len()), (ChipState::Array, 0));
}
