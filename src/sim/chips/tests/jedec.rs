//! Older JEDEC set: datasheet S71147 table 4 (`SST39SF`), `DS25085A` table 9 (CFI).

use super::*;
use crate::sim::chips::{ChipState, Wear};

const UNLOCK: [(u32, u16); 2] = [(0x5555, 0xAA), (0x2AAA, 0x55)];

fn command(rig: &mut Rig, code: u16) {
    rig.writes(&UNLOCK);
    rig.write(0x5555, code);
}

fn erase(rig: &mut Rig, at: u32, code: u16) {
    command(rig, 0x80);
    rig.writes(&UNLOCK);
    rig.write(at, code);
}

#[test]
fn codes_and_both_ways_out() {
    let mut rig = Rig::new("SST39VF040");
    for unlocked in [false, true] {
        command(&mut rig, 0x90);
        assert_eq!((rig.read(0), rig.read(1)), (0xBF, 0xD7));
        if unlocked {
            command(&mut rig, 0xF0);
        } else {
            rig.write(0x123, 0xF0);
        }
        assert_eq!((rig.chip.state(), rig.read(0)), (ChipState::Array, 0xFF));
    }
    // Address lines above A14 do not count.
    rig.writes(&[(0x7_D555, 0xAA), (0x7_AAAA, 0x55), (0x7_D555, 0x90)]);
    assert_eq!(rig.read(1), 0xD7);
    // The short addresses of the AMD type are none here.
    rig.write(0, 0xF0);
    rig.writes(&[(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)]);
    assert_eq!((rig.chip.state(), rig.violations().len()), (ChipState::Array, 3));
}

#[test]
fn cfi_where_the_part_has_it() {
    let mut rig = Rig::new("SST39VF1601");
    command(&mut rig, 0x98);
    rig.assert_query(1);
    command(&mut rig, 0xF0);
    command(&mut rig, 0x90);
    assert_eq!((rig.read(0), rig.read(1)), (0x00BF, 0x234B));
    let mut without = Rig::new("SST39VF040");
    command(&mut without, 0x98);
    assert_eq!(without.violations(), [ChipViolation::Unknown(0x5555, 0x98)]);
}

#[test]
fn program_waits_its_time_and_does_not_compare() {
    let mut rig = Rig::new("SST39VF040");
    command(&mut rig, 0xA0);
    rig.write(0x1234, 0xF0);
    let (first, changed) = rig.twice(0x1234, DQ7 | DQ6);
    assert_eq!((first & DQ7, changed), (0, DQ6));
    rig.wait_us(14);
    assert_eq!(rig.twice(0x1234, 0xFF), (0xF0, 0));
    command(&mut rig, 0xA0);
    rig.write(0x1234, 0x0F);
    rig.wait_us(14);
    assert_eq!(rig.twice(0x1234, 0xFF), (0x00, 0));
    assert_eq!(rig.violations(), [ChipViolation::OneOverZero(0x1234)]);
}

#[test]
fn sectors_blocks_and_the_chip() {
    let mut rig = Rig::new("SST39VF040");
    let blanks = |rig: &Rig| {
        rig.words().chunks(0x1000).filter(|sector| sector.iter().all(|word| *word == 0xFF)).count()
    };
    rig.fill(1);
    erase(&mut rig, 0x2_3456, 0x30);
    let (first, changed) = rig.twice(0, DQ7 | DQ6);
    assert_eq!((first & DQ7, changed), (0, DQ6));
    // There is no window for more sectors.
    rig.write(0x4_0000, 0x30);
    rig.wait_ms(18);
    assert_eq!(blanks(&rig), 1);
    assert!(rig.words()[0x2_3000..0x2_4000].iter().all(|word| *word == 0xFF));
    erase(&mut rig, 0x6_1234, 0x50);
    rig.wait_ms(18);
    assert_eq!(blanks(&rig), 17);
    erase(&mut rig, 0x5555, 0x10);
    rig.wait_ms(71);
    assert_eq!((blanks(&rig), rig.chip.state()), (128, ChipState::Array));
    assert_eq!(rig.violations(), [ChipViolation::Busy(0x4_0000, 0x30)]);
}

#[test]
fn a_worn_sector_is_not_blank_afterwards() {
    let faults = ChipFaults { worn: vec![(2, Wear::Reported)], ..Default::default() };
    let mut rig = Rig::with("SST39VF040", 8, faults);
    erase(&mut rig, 0x2000, 0x30);
    rig.wait_ms(18);
    assert_eq!(rig.chip.state(), ChipState::Array);
    assert!(rig.words()[0x2000..0x3000].iter().any(|word| *word != 0xFF));
}
