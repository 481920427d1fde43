//! Intel type: commands of the datasheets `28F320W30` (table 4), B3 p. 11 and J3A p. 22; status register
//! of `28F008SA` and C3 figure 16.

use super::*;
use crate::sim::chips::{ChipState, Wear};

const J3: &str = "28F320J3A";
/// In block 2 of 128 KiB.
const BLOCK: u32 = 0x2_0000;

fn unlocked(part: &str, faults: ChipFaults) -> Rig {
    let mut rig = Rig::with(part, 16, faults);
    if part == "28F320C3B" {
        rig.writes(&[(BLOCK, 0x60), (BLOCK, 0xD0)]);
    }
    rig
}

#[test]
fn codes_query_status_array() {
    let mut rig = Rig::new(J3);
    rig.write(0x777, 0x90);
    assert_eq!((rig.read(0), rig.read(1), rig.chip.state()), (0x89, 0x16, ChipState::Codes));
    rig.write(0x777, 0x98);
    rig.assert_query(1);
    rig.write(0, 0x70);
    assert_eq!(rig.read(0x1234), 0x80);
    rig.write(0, 0xFF);
    assert_eq!((rig.read(0), rig.chip.state()), (0xFFFF, ChipState::Array));
    let mut c3 = Rig::new("28F320C3B");
    c3.write(0, 0x90);
    assert_eq!((c3.read(0), c3.read(1)), (0x89, 0x88C5));
    c3.write(0, 0x98);
    c3.assert_query(1);
    assert!(rig.violations().is_empty() && c3.violations().is_empty());
}

/// J3-65nm tables 27 and 28: in byte mode every byte is repeated, 20 and 21 both read 51.
#[test]
fn byte_mode_repeats_every_query_byte() {
    let mut rig = Rig::with(J3, 8, ChipFaults::default());
    rig.write(0, 0x98);
    rig.assert_query(2);
    assert_eq!([0x20, 0x21, 0x22, 0x23].map(|at| rig.read(at)), [0x51, 0x51, 0x52, 0x52]);
    rig.write(0, 0x90);
    assert_eq!((rig.read(0), rig.read(2)), (0x89, 0x16));
}

#[test]
fn program_by_both_codes() {
    for (n, code) in [0x40, 0x10].into_iter().enumerate() {
        let mut rig = unlocked("28F320C3B", ChipFaults::default());
        let at = BLOCK + n as u32;
        rig.writes(&[(at, code), (at, 0x1234)]);
        assert_eq!(rig.read(0), 0x00);
        rig.write(at, 0xFF);
        assert_eq!(rig.violations(), [ChipViolation::Busy(at, 0xFF)]);
        rig.wait_us(32);
        // Still status until FF.
        assert_eq!((rig.read(at), rig.chip.state()), (0x80, ChipState::Status));
        rig.write(0, 0xFF);
        assert_eq!(rig.read(at), 0x1234);
    }
}

#[test]
fn a_one_over_a_zero_sets_the_program_error() {
    for looks_good in [false, true] {
        let faults = ChipFaults { ones_look_good: looks_good, ..Default::default() };
        let mut rig = unlocked(J3, faults);
        rig.writes(&[(BLOCK, 0x40), (BLOCK, 0x0F0F)]);
        rig.wait_us(128);
        rig.writes(&[(BLOCK, 0x40), (BLOCK, 0xFF00)]);
        rig.wait_us(2_048);
        assert_eq!(rig.read(0), if looks_good { 0x80 } else { 0x90 });
        // Sticky until 50.
        rig.write(0, 0x70);
        assert_eq!(rig.read(0) & 0x10 == 0, looks_good);
        rig.writes(&[(0, 0x50), (0, 0x70)]);
        assert_eq!(rig.read(0), 0x80);
        rig.write(0, 0xFF);
        assert_eq!(rig.read(BLOCK), 0x0F00);
    }
}

#[test]
fn erase_and_its_wrong_second_cycle() {
    let mut rig = unlocked(J3, ChipFaults::default());
    rig.fill(2);
    let before = rig.words();
    rig.writes(&[(BLOCK, 0x20), (BLOCK, 0x20)]);
    assert_eq!(rig.read(0), 0xB0, "both error bits: a command sequence error");
    rig.write(0, 0x50);
    rig.writes(&[(BLOCK + 5, 0x20), (BLOCK + 5, 0xD0)]);
    rig.wait_ms(1_000);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_ms(24);
    assert_eq!(rig.read(0), 0x80);
    rig.write(0, 0xFF);
    let after = rig.words();
    assert!(after[0x2_0000..0x3_0000].iter().all(|word| *word == 0xFFFF));
    assert_eq!(after[..0x2_0000], before[..0x2_0000]);
    assert_eq!(after[0x3_0000..], before[0x3_0000..]);
    assert_eq!(rig.chip.books().erases[1..4], [0, 1, 0]);
}

#[test]
fn an_erase_is_suspended_programmed_beside_and_resumed() {
    let mut rig = unlocked(J3, ChipFaults::default());
    rig.writes(&[(BLOCK, 0x20), (BLOCK, 0xD0)]);
    rig.wait_ms(500);
    rig.write(0, 0xB0);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_us(25);
    assert_eq!(rig.read(0), 0xC0);
    rig.write(0, 0xFF);
    assert_eq!((rig.read(5), rig.chip.state()), (0xFFFF, ChipState::Suspended));
    rig.writes(&[(5, 0x40), (5, 0xABCD)]);
    rig.wait_us(128);
    assert_eq!(rig.read(0), 0xC0);
    rig.writes(&[(BLOCK, 0x40), (BLOCK, 0x0000)]);
    assert_eq!(rig.violations(), [ChipViolation::Suspended(BLOCK)]);
    rig.writes(&[(0, 0x50), (0, 0xD0)]);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_ms(525);
    assert_eq!(rig.read(0), 0x80);
    rig.write(0, 0xFF);
    assert_eq!((rig.read(5), rig.read(BLOCK)), (0xABCD, 0xFFFF));
}

#[test]
fn a_program_is_suspended_where_the_part_can() {
    let mut c3 = unlocked("28F320C3B", ChipFaults::default());
    c3.writes(&[(BLOCK, 0x40), (BLOCK, 0x1111), (0, 0xB0)]);
    c3.wait_us(5);
    assert_eq!(c3.read(0), 0x84);
    c3.write(0, 0xFF);
    assert_eq!(c3.read(BLOCK), 0xFFFF);
    c3.write(0, 0xD0);
    c3.wait_us(32);
    c3.write(0, 0xFF);
    assert_eq!(c3.read(BLOCK), 0x1111);
    let mut j3 = unlocked(J3, ChipFaults::default());
    j3.writes(&[(BLOCK, 0x40), (BLOCK, 0x1111), (0, 0xB0)]);
    assert_eq!(j3.violations(), [ChipViolation::Busy(0, 0xB0)]);
}

/// E8 at the block, count - 1, words, D0; XSR.7 (from memory) says that the buffer is free.
#[test]
fn buffered_program() {
    let mut rig = unlocked(J3, ChipFaults::default());
    rig.write(BLOCK, 0xE8);
    assert_eq!(rig.read(0), 0x80);
    rig.write(BLOCK, 15);
    for n in 0..16 {
        rig.write(BLOCK + 0x20 + n, n as u16);
    }
    rig.write(BLOCK, 0xD0);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_us(128);
    assert_eq!(rig.read(0), 0x80);
    rig.write(0, 0xFF);
    assert!((0..16).all(|n| rig.read(BLOCK + 0x20 + n) == n as u16));
    assert!(rig.violations().is_empty());
    let wrong: [&[(u32, u16)]; 4] = [
        &[(BLOCK, 16)],
        &[(BLOCK, 1), (BLOCK, 0), (BLOCK + 2, 0)],
        &[(BLOCK, 0), (0, 0)],
        &[(BLOCK, 0), (BLOCK, 0), (BLOCK, 0xFF)],
    ];
    for cycles in wrong {
        let mut rig = unlocked(J3, ChipFaults::default());
        rig.write(BLOCK, 0xE8);
        rig.writes(cycles);
        rig.write(0, 0x70);
        assert_eq!(rig.read(0), 0xB0, "{cycles:X?}");
        assert!(rig.words().iter().all(|word| *word == 0xFFFF));
    }
}

#[test]
fn low_programming_voltage_is_said_at_once() {
    let mut rig = unlocked(J3, ChipFaults { vpp_low: true, ..Default::default() });
    rig.writes(&[(BLOCK, 0x40), (BLOCK, 0)]);
    assert_eq!(rig.read(0), 0x98);
    rig.writes(&[(0, 0x50), (BLOCK, 0x20), (BLOCK, 0xD0)]);
    assert_eq!(rig.read(0), 0xA8);
    assert_eq!(rig.violations(), [ChipViolation::VppLow; 2]);
    assert!(rig.words().iter().all(|word| *word == 0xFFFF));
}

#[test]
fn a_worn_block_sets_the_erase_error_or_never_ends() {
    for (wear, status) in [(Wear::Reported, 0xA0), (Wear::Never, 0x00)] {
        let mut rig = unlocked(J3, ChipFaults { worn: vec![(2, wear)], ..Default::default() });
        rig.writes(&[(BLOCK, 0x20), (BLOCK, 0xD0)]);
        rig.wait_ms(16_383);
        assert_eq!(rig.read(0), 0x00);
        rig.wait_ms(2);
        assert_eq!(rig.read(0), status);
    }
}
