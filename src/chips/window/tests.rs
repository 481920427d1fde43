//! How far apart writes may come, by hand.

use super::*;
use crate::bus::script::Builder;
use crate::bus::{Lane, ShapeId, WordAddress};
use crate::chips::{Abilities, LockKind, Way, Wiring};

/// Cycles of the shape: 400 ns.
const SHAPE: ShapeTimes = ShapeTimes { setup: 50, pulse: 150, hold: 50, recover: 50, release: 100 };

/// 10 us an operation, and 4.6 us a cycle besides, 5 us with its shape.
fn window() -> Window {
    Window::new(Nanos::from_micros(10), Nanos(4_600), &SHAPE)
}

fn gap(body: impl FnOnce(Builder) -> Builder) -> Gap {
    window().longest_gap(&Builder::new(ShapeId(0)).atomic(body).script().unwrap())
}

fn us(us: u64) -> Gap {
    Gap::AtMost(Nanos::from_micros(us))
}

const AT: WordAddress = WordAddress(0x5555);

#[test]
fn the_gap_is_what_stands_between_two_writes_and_the_second() {
    assert_eq!(gap(|s| s.write(AT, 0xAA)), us(0));
    assert_eq!(gap(|s| s.write(AT, 0xAA).write(AT, 0x55)), us(15));
    assert_eq!(gap(|s| s.write(AT, 0xAA).read(AT).write(AT, 0x55)), us(30));
    let skips = |s: Builder| s.unless_d(0xFF, 0xAA, |s| s.write(AT, 0x55).set_a(AT));
    assert_eq!(gap(|s| skips(s.write(AT, 0xAA).read(AT))), us(40));
    // What stands before the first write and after the last means nothing.
    assert_eq!(gap(|s| s.read(AT).read(AT).write(AT, 1).write(AT, 2).read(AT)), us(15));
}

#[test]
fn a_skip_over_a_write_makes_the_gap_longer() {
    let left_out = |s: Builder| s.unless_d(0xFF, 0xAA, |s| s.write(AT, 0x55)).read(AT);
    // Skip, read and write, rather than skip and write.
    assert_eq!(gap(|s| left_out(s.write(AT, 0xAA)).write(AT, 0x90)), us(40));
    assert_eq!(gap(|s| s.write(AT, 0xAA).unless_d(1, 1, |s| s.write(AT, 2))), us(25));
}

#[test]
fn loops_are_turned() {
    // Step, end of the loop, write.
    let turn = |s: Builder| s.write_payload().step(1);
    assert_eq!(gap(|s| s.repeat(64, turn)), us(35));
    assert_eq!(gap(|s| s.repeat(1, turn)), us(0));
    // Into the loop: its begin and the first write.
    assert_eq!(gap(|s| s.write(AT, 1).repeat(1, turn)), us(25));
    let reads = |s: Builder| s.repeat(4, |s| s.read(AT));
    assert_eq!(gap(|s| reads(s.write(AT, 1)).write(AT, 2)), us(10 + 4 * 25 + 15));
    let long = gap(|s| s.repeat(3, |s| reads(s.write(AT, 1))));
    assert_eq!(long, us(10 + 4 * 25 + 10 + 15));
    assert!(matches!(gap(|s| s.repeat_n(|s| s.write(AT, 1))), Gap::Stretch(_)));
    // Two turns in which the only write is left out lie between two writes of others.
    let perhaps = |s: Builder| s.repeat(2, |s| s.unless_d(1, 1, |s| s.write(AT, 3)));
    assert!(matches!(
        gap(|s| perhaps(s.write(AT, 1)).write(AT, 2)),
        Gap::AtMost(gap) if gap >= Nanos::from_micros(10 + 2 * 20 + 15)
    ));
}

#[test]
fn what_is_not_promised_is_no_gap() {
    let two = Builder::new(ShapeId(0)).atomic(|s| s.write(AT, 1).write(AT, 2)).script().unwrap();
    for (operation, cycle) in [(0, 0), (0, 5), (5, 0)] {
        let window = Window::new(Nanos(operation), Nanos(cycle), &SHAPE);
        assert_eq!(window.longest_gap(&two), Gap::NotPromised);
    }
    // It is not known to be made quickly.
    assert_eq!(gap(|s| s.write(AT, 1).delay(1).write(AT, 2)), Gap::NotPromised);
    assert_eq!(gap(|s| s.write(AT, 1).write_count(Width::W8).write(AT, 2)), Gap::NotPromised);
    assert_eq!(gap(|s| s.write(AT, 1).emit().write(AT, 2)), us(25));
    assert_eq!(gap(|s| s.write(AT, 1).write(AT, 2).delay(1)), us(15));
    let plain = Builder::new(ShapeId(0)).write(AT, 1).script().unwrap();
    assert_eq!(window().longest_gap(&plain), Gap::NotPromised);
    let broken = Script(vec![0x10]);
    assert_eq!(window().longest_gap(&broken), Gap::NotPromised);
}

fn four() -> Vec<Wiring> {
    (0..4).map(|n| Wiring::straight(Lane { first: n * 8, bits: 8 })).collect()
}

fn asking(family: Family) -> Asking {
    Asking {
        shape: ShapeId(0),
        width: Width::W32,
        base: WordAddress(0),
        chips: four(),
        others: Vec::new(),
        way: Way::of_family(family, 8)[0],
    }
}

/// Read back, four lanes judged, next write: six operations, two of them cycles.
#[test]
fn asking_four_chips_needs_six_operations_between_two_writes() {
    let asking = asking(Family::Page);
    let ids = asking.ids(|_| 0).unwrap();
    assert_eq!(window().longest_gap(&ids), us(6 * 10 + 2 * 5));
    assert_eq!(asking.in_window(&window()).unwrap(), Ok(()));
    let slow = Window::new(Nanos::from_micros(20), Nanos(14_600), &SHAPE);
    let error = asking.in_window(&slow).unwrap().unwrap_err();
    assert_eq!(error.gap, us(6 * 20 + 2 * 15));
    let said = error.to_string();
    assert!(said.contains("at most 150 us apart") && said.contains("promises 150 us"), "{said}");
    let error = asking.in_window(&Window::default()).unwrap().unwrap_err();
    assert!(error.to_string().ends_with("this adapter promises no time"), "{error}");
}

#[test]
fn every_script_that_changes_a_page_stands_in_atomic_stretches() {
    let abilities = Abilities {
        bypass: false,
        buffer_words: None,
        page_words: Some(256),
        locks: LockKind::Fixed,
        program_us: (10_000, 20_000),
        buffer_us: (0, 0),
        erase_ms: (10, 20),
        chip_ms: 0,
    };
    let Asking { shape, width, base, chips, way, .. } = asking(Family::Page);
    let writing = Writing { shape, width, base, chips, way, abilities };
    assert_eq!(writing.in_window(&window()).unwrap(), Ok(()));
    let slow = Window::new(Nanos::from_micros(80), Nanos::from_micros(80), &SHAPE);
    assert!(matches!(writing.in_window(&slow).unwrap().unwrap_err().gap, Gap::AtMost(_)));
    // 256 words of 2 operations and a cycle: 20.7 ms, and 64 turns.
    let long = Window::new(Nanos::from_micros(20), Nanos::from_micros(40), &SHAPE);
    let error = writing.in_window(&long).unwrap().unwrap_err();
    assert!(matches!(error.gap, Gap::Stretch(time) if time > Nanos::from_millis(20)), "{error}");
    assert!(writing.in_window(&Window::default()).unwrap().is_err());
    let amd = Writing { way: Way::of_family(Family::Amd, 8)[0], ..writing };
    assert_eq!(amd.in_window(&Window::default()).unwrap(), Ok(()));
}

/// `AT29C040A`, the largest of the list, has 512 KiB (its datasheet's features).
#[test]
fn the_largest_page_write_parts() {
    let catalogue = Catalogue::built_in().unwrap();
    let of = |bits| catalogue.largest_of_pages(bits);
    assert_eq!([8, 16, 32, 4].map(of), [Some(0x8_0000), Some(0x1_0000), None, None]);
}
