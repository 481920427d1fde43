//! Journals of writes: interrupted, damaged, two at once.

use super::*;
use crate::shelf::journal::{Beginning, LockedSectors, Stage, Step};

fn beginning() -> Beginning {
    Beginning {
        time: time(0),
        specimen: label(),
        simulated: true,
        port: "/dev/pts/4".into(),
        board: "bench:TG-7".into(),
        plan: "K7M2QX".parse().unwrap(),
        plan_sha256: sha256_hex(b"plan"),
        backup: "0417-001".parse().unwrap(),
        locked: vec![LockedSectors { space: "store".into(), sectors: vec![0, 34] }],
    }
}

fn sector(number: u32, stage: Stage) -> Step {
    let (space, text) = ("store".to_owned(), "a line\nand another *".to_owned());
    Step::Sector { space, number, stage, text }
}

/// A write of two sectors, step by step; what was told after each.
fn steps() -> Vec<Step> {
    vec![
        sector(3, Stage::Begun),
        sector(3, Stage::Erased),
        sector(3, Stage::Written),
        Step::Unlocking { space: "store".into() },
        sector(4, Stage::Begun),
        Step::Relocked { space: "store".into() },
        Step::RailCycled { mv: 12, measured: true },
        Step::Proven,
        Step::End { time: time(9), good: true },
    ]
}

#[test]
fn what_is_written_down_is_told_again() {
    let disk = MemDisk::default();
    let mut journal = shelf(&disk).begin_journal(beginning()).unwrap();
    for step in steps() {
        journal.add(step).unwrap();
    }
    let told = journal.told().clone();
    drop(journal);
    let again = shelf(&disk).last_journal(&label()).unwrap().unwrap();
    assert_eq!(again, told);
    assert_eq!(again.stage("store", 3), Stage::Written);
    assert_eq!(again.stage("store", 4), Stage::Begun);
    assert_eq!(again.stage("records", 4), Stage::Waiting);
    assert!(!again.unlocked("store"));
    assert_eq!(again.ended(), Some(true));
    let other = Label::parse("TG-7 #0418").unwrap();
    assert_eq!(shelf(&disk).last_journal(&other).unwrap(), None);
}

/// A journal cut short anywhere tells the steps whose lines are whole, and is gone on with.
#[test]
fn a_journal_cut_anywhere_goes_on() {
    let disk = MemDisk::default();
    let mut journal = shelf(&disk).begin_journal(beginning()).unwrap();
    for step in steps() {
        journal.add(step).unwrap();
    }
    let path = format!("{ROOT}/journals/{}/0001-K7M2QX.log", label().slug());
    let whole = disk.read(Path::new(&path)).unwrap();
    let ends: Vec<_> = (0..whole.len()).filter(|at| whole[*at] == b'\n').collect();
    for cut in 0..whole.len() {
        let disk = MemDisk::default();
        disk.create_dir_all(Path::new(&path).parent().unwrap()).unwrap();
        disk.create_new(Path::new(&path), &whole[..cut]).unwrap();
        let lines = ends.iter().filter(|end| **end <= cut).count();
        let Some(mut journal) = shelf(&disk).open_journal(&label()).unwrap() else {
            assert_eq!(lines, 0, "cut at {cut}");
            continue;
        };
        assert_eq!(journal.told().steps, steps()[..lines - 1], "cut at {cut}");
        journal.add(Step::Resumed { time: time(10) }).unwrap();
        journal.add(sector(5, Stage::Begun)).unwrap();
        drop(journal);
        let told = shelf(&disk).last_journal(&label()).unwrap().unwrap();
        assert_eq!(told.stage("store", 5), Stage::Begun, "cut at {cut}");
        assert_eq!(told.steps.len(), lines + 1, "cut at {cut}");
    }
}

/// A damaged line that is not the last is told, and never passed over.
#[test]
fn damage_in_the_middle_is_an_error() {
    let disk = MemDisk::default();
    let mut journal = shelf(&disk).begin_journal(beginning()).unwrap();
    for step in steps() {
        journal.add(step).unwrap();
    }
    let path = format!("{ROOT}/journals/{}/0001-K7M2QX.log", label().slug());
    let whole = disk.read(Path::new(&path)).unwrap();
    let last = whole[..whole.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap();
    for at in 0..last {
        let mut damaged = whole.clone();
        damaged[at] ^= 1;
        let disk = MemDisk::default();
        disk.create_dir_all(Path::new(&path).parent().unwrap()).unwrap();
        disk.create_new(Path::new(&path), &damaged).unwrap();
        let error = shelf(&disk).last_journal(&label()).unwrap_err();
        assert!(matches!(error, ShelfError::BadJournal { .. }), "byte {at}: {error}");
    }
}

#[test]
fn one_process_at_a_time() {
    let disk = MemDisk::default();
    let journal = shelf(&disk).begin_journal(beginning()).unwrap();
    let second = shelf(&disk).begin_journal(beginning());
    assert!(matches!(second, Err(ShelfError::Writing { .. })));
    assert!(matches!(shelf(&disk).open_journal(&label()), Err(ShelfError::Writing { .. })));
    drop(journal);
    let second = shelf(&disk).begin_journal(beginning()).unwrap();
    assert!(second.path().to_string_lossy().ends_with("0002-K7M2QX.log"));
}

/// The disk fails at every operation in turn: nothing is written behind a line that failed, and
/// what was told as written is there.
#[test]
fn a_line_that_fails_is_the_last() {
    for power in [false, true] {
        for tear in [Tear::Nothing, Tear::Half, Tear::All] {
            for k in 1..60 {
                let disk = MemDisk::default();
                disk.fail_at(k, tear);
                let mut added = 0;
                if let Ok(mut journal) = Shelf::open(Arc::new(disk.clone()), Path::new(ROOT))
                    .and_then(|shelf| shelf.begin_journal(beginning()))
                {
                    added = 1;
                    for step in steps() {
                        if journal.add(step).is_err() {
                            assert!(journal.add(Step::Proven).is_err(), "nothing follows it");
                            break;
                        }
                        added += 1;
                    }
                }
                disk.restart(power);
                let told = shelf(&disk).last_journal(&label()).unwrap();
                let there = told.map_or(0, |told| told.steps.len() + 1);
                let at = format!("operation {k}, {tear:?}, power cut {power}");
                assert!(there == added || there == added + 1, "{at}: {there} of {added}");
            }
        }
    }
}

#[test]
fn codes() {
    assert_eq!("k7m2qx".parse::<PlanCode>().unwrap().to_string(), "K7M2QX");
    for text in ["", "K7M2Q", "K7M2QXX", "K7M2QI", "../../x"] {
        assert!(text.parse::<PlanCode>().is_err(), "{text}");
    }
}
