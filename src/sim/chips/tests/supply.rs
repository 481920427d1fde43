//! The supply goes in the middle of something: the unit in hand is spoiled, and nothing else.

use super::*;
use crate::sim::chips::ChipState;

const AMD_ERASE: [(u32, u16); 5] =
    [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x80), (0x555, 0xAA), (0x2AA, 0x55)];

fn is_unsteady(rig: &mut Rig, at: u32) -> bool {
    let first = rig.read(at);
    (0..40).any(|_| rig.read(at) != first)
}

#[test]
fn a_cut_erase_leaves_noise_that_another_erase_cures() {
    let mut rig = Rig::new("S29AL008J");
    rig.fill(6);
    let before = rig.words();
    rig.writes(&AMD_ERASE);
    rig.writes(&[(0x8000, 0x30), (0x1_0000, 0x30)]);
    rig.wait_ms(1_000);
    rig.cut();
    assert_eq!(rig.chip.state(), ChipState::Array);
    let after = rig.words();
    // The first sector was done, the second in hand.
    assert!(after[0x8000..0x1_0000].iter().all(|word| *word == 0xFFFF));
    assert_eq!(after[..0x8000], before[..0x8000]);
    assert_eq!(after[0x1_8000..], before[0x1_8000..]);
    let unsteady = (0x1_0000..0x1_1000).filter(|at| is_unsteady(&mut rig, *at)).count();
    assert!((0x1000 / 32..0x1000 / 8).contains(&unsteady), "{unsteady}");
    assert_eq!(rig.violations(), [ChipViolation::SupplyCut]);
    assert_eq!(rig.chip.books().erases[4..6], [1, 0]);
    rig.writes(&AMD_ERASE);
    rig.write(0x1_0000, 0x30);
    rig.wait_ms(701);
    assert!((0x1_0000..0x1_8000).all(|at| rig.read(at) == 0xFFFF));
}

#[test]
fn a_cut_program_spoils_one_word() {
    let mut seen = std::collections::BTreeSet::new();
    let mut rig = Rig::new("S29AL008J");
    for at in 0x100..0x140 {
        rig.writes(&[(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0xA0), (at, 0x0F0F)]);
        rig.wait_us(5);
        rig.cut();
        let word = rig.words()[at as usize];
        assert_eq!(word & 0x0F0F, 0x0F0F, "bits that stay are not touched");
        seen.insert((word, is_unsteady(&mut rig, at)));
    }
    assert!(seen.len() > 10 && seen.iter().any(|(_, unsteady)| *unsteady));
    assert!(rig.words()[0x140..].iter().all(|word| *word == 0xFFFF));
}

#[test]
fn the_same_seed_spoils_the_same_cells() {
    let spoil = || {
        let mut rig = Rig::new("28F320J3A");
        rig.writes(&[(0, 0x20), (0, 0xD0)]);
        rig.wait_ms(100);
        rig.cut();
        (0..0x100).map(|at| rig.read(at)).collect::<Vec<_>>()
    };
    assert_eq!(spoil(), spoil());
}

#[test]
fn what_a_chip_was_left_in_ends_with_the_supply() {
    let mut rig = Rig::new("S29AL008J");
    rig.writes(&[(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)]);
    rig.cut();
    assert_eq!((rig.chip.state(), rig.read(0)), (ChipState::Array, 0xFFFF));
    let mut rig = Rig::new("28F320J3A");
    rig.writes(&[(0, 0x20), (0, 0x00)]);
    rig.cut();
    assert_eq!(rig.chip.state(), ChipState::Array);
    rig.write(0, 0x70);
    assert_eq!(rig.read(0), 0x80, "error bits are cleared");
    assert!(rig.violations().iter().all(|what| *what != ChipViolation::SupplyCut));
}
