//! Intel type: lock bits. C3: every block locked at power-up, 60/D0 unlocks one; J3: 60/01 sets, 60/D0
//! clears all, kept without supply. Status at block base + 2 (C3 table C4).

use super::*;

const C3: &str = "28F320C3B";
const J3: &str = "28F320J3A";

fn lock_bits(rig: &mut Rig, base: u32) -> u16 {
    rig.write(0, 0x90);
    let bits = rig.read(base + 2);
    rig.write(0, 0xFF);
    bits
}

fn program(rig: &mut Rig, at: u32) -> u16 {
    rig.writes(&[(at, 0x40), (at, 0x0000)]);
    rig.wait_us(200);
    let status = rig.read(0);
    rig.writes(&[(0, 0x50), (0, 0xFF)]);
    status
}

#[test]
fn c3_locks_everything_at_power_up() {
    let mut rig = Rig::new(C3);
    // Block 8 is the first of 64 KiB, at 32 Ki words.
    assert_eq!((lock_bits(&mut rig, 0), lock_bits(&mut rig, 0x8000)), (1, 1));
    assert_eq!(program(&mut rig, 0x8000), 0x92);
    rig.writes(&[(0x8000, 0x20), (0x8000, 0xD0)]);
    assert_eq!(rig.read(0), 0xA2);
    rig.write(0, 0x50);
    rig.writes(&[(0x8000, 0x60), (0x8000, 0xD0)]);
    assert_eq!(rig.read(0), 0x80);
    assert_eq!((lock_bits(&mut rig, 0), lock_bits(&mut rig, 0x8000)), (1, 0));
    assert_eq!(program(&mut rig, 0x8000), 0x80);
    assert_eq!(rig.read(0x8000), 0);
    rig.cut();
    assert_eq!(lock_bits(&mut rig, 0x8000), 1);
    assert_eq!(rig.violations(), [ChipViolation::Protected(8); 2]);
}

#[test]
fn c3_lock_and_lock_down() {
    let mut rig = Rig::new(C3);
    rig.writes(&[(0, 0x60), (0, 0xD0), (0, 0x60), (0, 0x01)]);
    assert_eq!(lock_bits(&mut rig, 0), 1);
    rig.writes(&[(0, 0x60), (0, 0x2F), (0, 0x60), (0, 0xD0)]);
    assert_eq!(lock_bits(&mut rig, 0), 3);
    rig.cut();
    assert_eq!(lock_bits(&mut rig, 0), 1);
    rig.writes(&[(0, 0x60), (0, 0x77)]);
    assert_eq!(rig.read(0), 0xB0);
}

#[test]
fn j3_keeps_lock_bits_and_clears_all_at_once() {
    let mut rig = Rig::with(J3, 16, ChipFaults { locked: vec![3], ..Default::default() });
    rig.writes(&[(0x2_0000, 0x60), (0x2_0000, 0x01)]);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_us(64);
    assert_eq!(rig.read(0), 0x80);
    rig.cut();
    let bases = [0x1_0000, 0x2_0000, 0x3_0000];
    assert_eq!(bases.map(|base| lock_bits(&mut rig, base)), [0, 1, 1]);
    assert_eq!(program(&mut rig, 0x3_0000), 0x92);
    rig.writes(&[(0, 0x60), (0, 0xD0)]);
    rig.wait_ms(499);
    assert_eq!(rig.read(0), 0x00);
    rig.wait_ms(1);
    assert_eq!(bases.map(|base| lock_bits(&mut rig, base)), [0, 0, 0]);
    assert_eq!(program(&mut rig, 0x3_0000), 0x80);
}

/// One-time-programmable bits are not modelled: C0 is refused like a locked register (C3 figure 16).
#[test]
fn protection_program_is_refused() {
    let mut rig = Rig::new(C3);
    rig.writes(&[(0x80, 0xC0), (0x80, 0xFFFD)]);
    assert_eq!(rig.read(0), 0x92);
    assert_eq!(rig.violations(), [ChipViolation::Unknown(0x80, 0xFFFD)]);
}
