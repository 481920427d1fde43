//! Sequences by name. That nothing which changes a chip is called harmless is tested against the
//! simulated chips, elsewhere.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use super::*;

fn chip() -> Recogniser {
    Recogniser::new(vec![Wiring::straight(Lane { first: 0, bits: 8 })], Width::W8)
}

/// The verdicts of writes, all of them made.
fn verdicts(mut watching: Recogniser, values: &[Word]) -> Vec<Verdict> {
    values.iter().map(|value| watching.saw(0x555, *value)).collect()
}

fn acts(values: &[Word]) -> Vec<Act> {
    verdicts(chip(), values).iter().map(|verdict| verdict.act).collect()
}

fn last(values: &[Word]) -> Verdict {
    *verdicts(chip(), values).last().unwrap()
}

#[test]
fn questions_are_harmless() {
    use Act::{Harmless, Part};
    assert_eq!(acts(&[0xAA, 0x55, 0x90, 0xF0]), [Part, Part, Harmless, Harmless]);
    assert_eq!(acts(&[0x98, 0xF0, 0x90, 0xFF, 0x70, 0x50]), [Harmless; 6]);
}

#[test]
fn every_family_is_named() {
    let cases: &[(&[Word], Act, Family)] = &[
        (&[0xAA, 0x55, 0xA0, 0x12], Act::Program, Family::Amd),
        (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x30], Act::Erase, Family::Amd),
        (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x10], Act::EraseChip, Family::Amd),
        (&[0xAA, 0x55, 0x20, 0xA0, 0x12], Act::Program, Family::Amd),
        (&[0xAA, 0x55, 0x25, 0x00, 0x77, 0x29], Act::Program, Family::Amd),
        (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x30, 0xB0, 0x30], Act::Erase, Family::Amd),
        (&[0xAA, 0x55, 0xE0], Act::Lock, Family::Amd),
        (&[0xAA, 0x55, 0x33], Act::Unknown, Family::Amd),
        (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x50], Act::Permanent, Family::Amd),
        (&[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x20], Act::Lock, Family::Page),
        (&[0x20, 0xD0], Act::Erase, Family::Intel),
        (&[0x40, 0x12], Act::Program, Family::Intel),
        (&[0x10, 0x12], Act::Program, Family::Intel),
        (&[0xE8, 0x00, 0x55, 0xD0], Act::Program, Family::Intel),
        (&[0x20, 0xD0, 0xB0, 0xD0], Act::Erase, Family::Intel),
        (&[0x60, 0x01], Act::Lock, Family::Intel),
        (&[0x60, 0xD0], Act::Lock, Family::Intel),
    ];
    for (values, act, family) in cases {
        let verdict = last(values);
        assert_eq!((verdict.act, verdict.family), (*act, Some(*family)), "{values:X?}: {verdict}");
        assert!(verdict.changes() && verdict.is_refused() == (*act == Act::Permanent));
    }
    let jedec = chip().of_families(&[Family::Jedec]);
    let block = verdicts(jedec, &[0xAA, 0x55, 0x80, 0xAA, 0x55, 0x50]);
    assert_eq!((block[5].act, block[5].family), (Act::Erase, Some(Family::Jedec)));
}

#[test]
fn what_protects_for_good_is_refused() {
    let unlocked = [0x88, 0x40, 0x60, 0x50, 0xC0, 0x38].map(|code| vec![0xAA, 0x55, code]);
    let intel = [vec![0xC0], vec![0xFF, 0xC0, 0x00], vec![0x60, 0x2F], vec![0x60, 0xF1]];
    for values in unlocked.iter().chain(&intel) {
        assert!(last(values).is_refused(), "{values:X?}");
    }
    let said = last(&[0xC0]).to_string();
    assert_eq!(
        said,
        "C0 at 0x555 of chip 0 protects for good, which is never done here (set-up of the \
         protection register, intel commands)"
    );
    // To a chip that is known to be of another family C0 is data.
    let known = verdicts(chip().of_families(&[Family::Amd]), &[0xAA, 0x55, 0xA0, 0xC0]);
    assert_eq!(known[3].act, Act::Program);
    assert!(last(&[0xAA, 0x55, 0xA0, 0xC0]).is_refused());
}

#[test]
fn pages_load_until_a_pause() {
    let mut watching = chip().of_families(&[Family::Page]);
    for value in [0xAA, 0x55, 0xA0] {
        assert_eq!(watching.saw(0, value).act, Act::Part);
    }
    assert_eq!([watching.saw(0, 1).act, watching.saw(1, 2).act], [Act::Program; 2]);
    watching.paused();
    assert_eq!(watching.would(0, 0xF0).act, Act::Harmless);
    for value in [0xAA, 0x55, 0x80, 0xAA, 0x55, 0x20] {
        watching.saw(0, value);
    }
    watching.paused();
    assert_eq!(watching.would(0, 0xF0).act, Act::Program, "the protection is off");
}

#[test]
fn each_chip_is_judged_with_its_lines_undone() {
    // D0 and D7 of the upper chip are swapped.
    let swapped =
        Wiring::new(Lane { first: 8, bits: 8 }, vec![15, 9, 10, 11, 12, 13, 14, 8], vec![]);
    let chips = vec![Wiring::straight(Lane { first: 0, bits: 8 }), swapped.clone()];
    let mut watching = Recogniser::new(chips, Width::W16);
    let word = |low: u16, high: u16| Word::from(low) | swapped.put(high);
    assert_eq!(watching.saw(0, word(0xFF, 0x20)).act, Act::Part);
    let verdict = watching.would(4, word(0xFF, 0xD0));
    assert_eq!((verdict.chip, verdict.act, verdict.at), (1, Act::Erase, 4));
    assert_eq!(watching.would(4, word(0xD0, 0xFF)).act, Act::Harmless);
    // Asking does not count as writing.
    assert_eq!(watching.would(4, word(0xFF, 0xD0)), verdict);
}

#[test]
fn without_chips_every_byte_is_watched() {
    let mut watching = Recogniser::new(Vec::new(), Width::W32);
    watching.saw(0, 0xFF20_FFFF);
    let verdict = watching.would(0, 0xFFD0_FFFF);
    assert_eq!((verdict.chip, verdict.act), (2, Act::Erase));
}
