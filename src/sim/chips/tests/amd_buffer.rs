//! AMD type: the write buffer. `S29GL-M` datasheet p. 105, `S29GL-A` p. 46: sector and 25, sector and
//! count - 1, the words, sector and 29; an abort shows DQ1 and is cleared by the unlock cycles and F0
//! (from memory).

use super::*;
use crate::sim::chips::ChipState;

const UNLOCK: [(u32, u16); 2] = [(0x555, 0xAA), (0x2AA, 0x55)];
/// In the first 64 KiB sector.
const SECTOR: u32 = 0x8000;

fn loading(count: u16, loads: &[(u32, u16)]) -> Rig {
    let mut rig = Rig::new("S29GL064N");
    rig.writes(&UNLOCK);
    rig.writes(&[(SECTOR, 0x25), (SECTOR, count - 1)]);
    rig.writes(loads);
    rig
}

#[test]
fn a_buffer_is_programmed_at_once() {
    let loads: Vec<(u32, u16)> = (0..16).map(|n| (SECTOR + 0x10 + n, 0x1100 + n as u16)).collect();
    let mut rig = loading(16, &loads);
    rig.write(SECTOR, 0x29);
    // The last loaded word is polled.
    let (first, changed) = rig.twice(SECTOR + 0x1F, DQ7 | DQ6 | DQ5 | DQ1);
    assert_eq!((first & !DQ6, changed), (DQ7, DQ6));
    rig.wait_us(128);
    assert_eq!(rig.chip.state(), ChipState::Array);
    assert!(loads.iter().all(|(at, data)| rig.read(*at) == *data));
    assert_eq!((rig.chip.books().programs, rig.violations().len()), (16, 0));
}

#[test]
fn a_word_loaded_twice_counts_twice() {
    let mut rig = loading(2, &[(SECTOR, 0x1111), (SECTOR, 0x2222)]);
    rig.write(SECTOR, 0x29);
    rig.wait_us(128);
    assert_eq!((rig.read(SECTOR), rig.read(SECTOR + 1)), (0x2222, 0xFFFF));
}

#[test]
fn every_wrong_load_aborts() {
    type Case<'a> = (&'a str, u16, &'a [(u32, u16)]);
    let good = (SECTOR + 1, 0x1280);
    let cases: [Case; 5] = [
        ("more words than the buffer has", 17, &[]),
        ("another page", 2, &[good, (SECTOR + 0x10, 0x1280)]),
        ("another sector", 2, &[good, (SECTOR + 0x8001, 0x1280)]),
        ("one word more", 1, &[good, (SECTOR + 2, 0x1280)]),
        ("confirmed in another sector", 1, &[good, (0, 0x29)]),
    ];
    for (case, count, loads) in cases {
        let mut rig = loading(count, loads);
        assert_eq!(rig.chip.state(), ChipState::Aborted, "{case}");
        let (first, changed) = rig.twice(SECTOR, DQ7 | DQ6 | DQ5 | DQ1);
        let dq7 = if loads.is_empty() { DQ7 } else { 0 };
        assert_eq!((first & !DQ6, changed), (dq7 | DQ1, DQ6), "{case}");
        // A plain reset is not enough.
        rig.write(0, 0xF0);
        assert_eq!(rig.chip.state(), ChipState::Aborted, "{case}");
        rig.writes(&UNLOCK);
        rig.write(0x555, 0xF0);
        assert_eq!(rig.chip.state(), ChipState::Array, "{case}");
        assert!(rig.words().iter().all(|word| *word == 0xFFFF), "{case}");
        assert!(matches!(rig.violations()[0], ChipViolation::BufferAborted(_)), "{case}");
    }
}

#[test]
fn a_part_without_a_buffer_has_no_such_command() {
    let mut rig = Rig::new("S29AL008J");
    rig.writes(&UNLOCK);
    rig.write(SECTOR, 0x25);
    assert_eq!(rig.violations(), [ChipViolation::Unknown(SECTOR, 0x25)]);
}
