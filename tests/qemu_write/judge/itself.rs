//! The judge sees what it is there for.

use super::{Family, Judge};
use crate::support::fitted::Step;
use buswright::bus::Width;

/// Two chips side by side with four sectors of 8 KiB each, that hold 1234; the second may change.
fn judge(family: Family) -> Judge {
    let contents = [0x34, 0x12].repeat(4 * 8192);
    let mut judge = Judge::new(family, Width::W32, &vec![(4, 8192)], &contents);
    judge.allow(&[1]);
    judge
}

/// What is said of the last of `writes`, each of the same half for both chips; the others are good.
fn said(family: Family, writes: &[(u32, u32)]) -> String {
    let mut judge = judge(family);
    let steps = writes.iter().map(|&(at, half)| Step::Write(at, half << 16 | half));
    let mut results: Vec<_> = steps.map(|step| judge.one(&step)).collect();
    let last = results.pop().unwrap();
    assert!(results.iter().all(Result::is_ok), "{results:?}");
    last.err().unwrap_or_default()
}

const UNLOCK: [(u32, u32); 2] = [(0x555, 0xAA), (0x2AA, 0x55)];

/// An AMD command with its unlock cycles, and what comes after it.
fn amd(code: u32, more: &[(u32, u32)]) -> Vec<(u32, u32)> {
    [&UNLOCK[..], &[(0x555, code)], more].concat()
}

#[test]
fn the_amd_family() {
    let erase = |at| amd(0x80, &[UNLOCK[0], UNLOCK[1], (at, 0x30)]);
    let said = |writes: &[(u32, u32)]| said(Family::Amd, writes);
    assert_eq!(said(&erase(0x1000)), "");
    assert_eq!(said(&amd(0xA0, &[(0x1004, 0x1030)])), "");
    assert_eq!(said(&[erase(0x1000), amd(0xA0, &[(0x1FFF, 0xFFFE)])].concat()), "");
    assert!(said(&erase(0x2000)).contains("an erase outside"));
    assert!(said(&erase(0x1001)).contains("inside a sector that begins at 1000"));
    assert!(said(&amd(0xA0, &[(0xFFF, 0)])).contains("programmed outside"));
    assert!(said(&amd(0xA0, &[(0x1000, 0x1235)])).contains("over 1234 without an erase"));
    assert!(said(&[(0x556, 0xAA)]).contains("no step of a command"));
    assert!(said(&amd(0x10, &[])).contains("no step of a command"));
    assert!(said(&[(0x2000, 0xF0)]).contains("no step of a command"));
    assert!(said(&amd(0x20, &[(0x1000, 0xA0), (0x2000, 0)])).contains("programmed outside"));
}

#[test]
fn the_intel_family() {
    let said = |writes: &[(u32, u32)]| said(Family::Intel, writes);
    assert_eq!(said(&[(0x1000, 0x20), (0x1000, 0xD0)]), "");
    assert_eq!(said(&[(0x1000, 0x50), (0x1004, 0x40), (0x1004, 0), (0, 0xFF)]), "");
    assert!(said(&[(0x2000, 0x20)]).contains("no address of a command"));
    assert!(said(&[(0, 0x20)]).contains("outside the plan's sectors"));
    assert!(said(&[(0x1001, 0x20), (0x1001, 0xD0)]).contains("begins at 1000"));
    assert!(said(&[(0x1000, 0x40), (0x1000, 0x1235)]).contains("over 1234 without an erase"));
    assert!(said(&[(0x1000, 0x60)]).contains("no command that is known"));
    let load = [(0x13FF, 0xE8), (0x13FF, 1), (0x13FF, 0x34)];
    assert!(said(&[&load[..], &[(0x1400, 0)]].concat()).contains("in another line"));
    let load = [(0x1000, 0xE8), (0x1000, 1), (0x1000, 0x34), (0x1001, 0x1200), (0x1000, 0xD0)];
    assert_eq!(said(&load), "");
    assert!(
        said(&load[..3]).is_empty()
            && said(&[(0x1000, 0xE8), (0x1000, 0x400)]).contains("for a buffer")
    );
}

#[test]
fn each_lane_is_judged_by_itself() {
    let mut judge = judge(Family::Amd);
    assert!(judge.one(&Step::Write(0x555, 0x00AA_00AA)).is_ok());
    let why = judge.one(&Step::Write(0x2AA, 0x0054_0055)).unwrap_err();
    assert!(why.starts_with("lane 1, 540055 at 2AA"), "{why}");
    assert!(judge.one(&Step::PowerDown).is_ok());
    assert_eq!(judge.cut, 1);
}
