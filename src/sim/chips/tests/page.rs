//! Page-write parts: `AT29C040A` features, sequences of `AT28C040` datasheet 0542F, window from memory.

use super::*;
use crate::sim::chips::{ChipState, Wear};

const PROTECTED: [(u32, u16); 3] = [(0x5555, 0xAA), (0x2AAA, 0x55), (0x5555, 0xA0)];
const UNPROTECT: [(u32, u16); 6] = [
    (0x5555, 0xAA),
    (0x2AAA, 0x55),
    (0x5555, 0x80),
    (0x5555, 0xAA),
    (0x2AAA, 0x55),
    (0x5555, 0x20),
];
const PAGE: u32 = 0x1_2300;

fn rig() -> Rig {
    let mut rig = Rig::new("AT29C040A");
    rig.fill(8);
    rig
}

fn page(rig: &Rig) -> Vec<u16> {
    rig.words()[PAGE as usize..PAGE as usize + 256].to_vec()
}

#[test]
fn a_protected_page_is_written_whole() {
    let mut rig = rig();
    let before = rig.words();
    rig.writes(&PROTECTED);
    for n in 0..256 {
        rig.wait_us(100);
        rig.write(PAGE + n, n as u16 ^ 0x5A);
    }
    let (first, changed) = rig.twice(PAGE + 255, DQ7 | DQ6);
    assert_eq!((first & DQ7, changed), (!(255 ^ 0x5A) & DQ7, DQ6));
    rig.wait_us(150);
    rig.wait_ms(9);
    assert_eq!((rig.chip.state(), rig.words() == before), (ChipState::Busy, true));
    rig.wait_ms(1);
    assert_eq!(rig.chip.state(), ChipState::Array);
    assert!((0..256).all(|n| rig.read(PAGE + n) == n as u16 ^ 0x5A));
    let others = |words: &[u16]| [&words[..PAGE as usize], &words[PAGE as usize + 256..]].concat();
    assert_eq!(others(&rig.words()), others(&before));
    assert_eq!((rig.violations().len(), rig.chip.books().erases[0x123]), (0, 1));
}

#[test]
fn bytes_that_are_not_loaded_become_ff() {
    let mut rig = rig();
    rig.writes(&PROTECTED);
    rig.writes(&[(PAGE + 3, 0x12), (PAGE + 3, 0x34)]);
    rig.wait_ms(11);
    let mut wanted = vec![0xFF; 256];
    wanted[3] = 0x34;
    assert_eq!(page(&rig), wanted);
}

#[test]
fn a_byte_after_the_window_is_lost() {
    let mut rig = rig();
    rig.writes(&PROTECTED);
    rig.write(PAGE, 0x11);
    rig.wait_us(149);
    rig.write(PAGE + 1, 0x22);
    rig.wait_us(151);
    rig.write(PAGE + 2, 0x33);
    rig.wait_ms(11);
    assert_eq!(page(&rig)[..3], [0x11, 0x22, 0xFF]);
    assert_eq!(rig.violations(), [ChipViolation::LoadTooLate(PAGE + 2)]);
}

#[test]
fn a_byte_of_another_page_is_refused() {
    let mut rig = rig();
    rig.writes(&PROTECTED);
    rig.writes(&[(PAGE, 0x11), (PAGE + 0x100, 0x22)]);
    rig.wait_ms(11);
    assert_eq!((page(&rig)[0], page(&rig)[1]), (0x11, 0xFF));
    assert_eq!(rig.violations(), [ChipViolation::OtherPage(PAGE + 0x100)]);
}

#[test]
fn protection_keeps_the_contents_and_can_be_taken_off() {
    let mut rig = rig();
    let before = rig.words();
    rig.write(PAGE, 0x00);
    assert_eq!(rig.twice(PAGE, DQ6).1, DQ6);
    rig.wait_ms(11);
    assert_eq!((rig.words() == before, rig.chip.state()), (true, ChipState::Array));
    assert_eq!(rig.violations(), [ChipViolation::Protected(0x123)]);
    rig.writes(&UNPROTECT);
    rig.wait_ms(11);
    rig.writes(&[(PAGE, 0x00), (PAGE + 1, 0x01)]);
    rig.wait_ms(11);
    assert_eq!(page(&rig)[..3], [0, 1, 0xFF]);
    // It stays off without supply, and the next protected write puts it on again.
    rig.cut();
    rig.write(PAGE, 0x77);
    rig.wait_ms(11);
    assert_eq!(page(&rig)[..2], [0x77, 0xFF]);
    rig.writes(&PROTECTED);
    rig.write(PAGE, 0x66);
    rig.wait_ms(11);
    rig.write(PAGE, 0x55);
    rig.wait_ms(11);
    assert_eq!(page(&rig)[0], 0x66);
}

#[test]
fn codes() {
    let mut rig = rig();
    rig.writes(&[(0x5555, 0xAA), (0x2AAA, 0x55), (0x5555, 0x90)]);
    assert_eq!((rig.read(0), rig.read(1), rig.chip.state()), (0x1F, 0xA4, ChipState::Codes));
    rig.writes(&[(0x5555, 0xAA), (0x2AAA, 0x55), (0x5555, 0xF0)]);
    assert_eq!(rig.chip.state(), ChipState::Array);
    assert!(rig.violations().is_empty());
}

#[test]
fn a_cut_spoils_the_page_in_hand_only() {
    let mut rig = rig();
    let before = rig.words();
    rig.writes(&PROTECTED);
    rig.write(PAGE, 0x11);
    rig.cut();
    assert_eq!(rig.words(), before, "the cycle had not begun");
    rig.writes(&PROTECTED);
    rig.write(PAGE, 0x11);
    rig.wait_ms(5);
    rig.cut();
    assert_ne!(page(&rig), before[PAGE as usize..PAGE as usize + 256]);
    let mut after = rig.words();
    after[PAGE as usize..PAGE as usize + 256]
        .copy_from_slice(&before[PAGE as usize..PAGE as usize + 256]);
    assert_eq!(after, before);
}

#[test]
fn a_worn_page_reads_wrong() {
    let faults = ChipFaults { worn: vec![(0x123, Wear::Reported)], ..Default::default() };
    let mut rig = Rig::with("AT29C040A", 8, faults);
    rig.writes(&PROTECTED);
    rig.write(PAGE, 0x11);
    rig.wait_ms(11);
    assert!(page(&rig)[1..].iter().any(|word| *word != 0xFF));
}
