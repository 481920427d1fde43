//! Writes that must not begin, or must not go on: shelves that are full, read-only, damaged or gone,
//! and another module in the same bench. The module is as it was, and the rail is off.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::crash_tests::{Case, Cut};
use super::write_job_tests::Workshop;
use super::{Job, Outcome, WriteOptions};
use crate::bus::Nanos;
use crate::link::Port;
use crate::shelf::MemDisk;
use std::sync::Arc;

/// The paths below `folder` whose name ends so.
fn files(disk: &MemDisk, folder: &str, end: &str) -> Vec<String> {
    let all = disk.below(folder).into_keys().map(|path| path.to_string_lossy().into_owned());
    all.filter(|path| path.ends_with(end)).collect()
}

/// A bit in the middle of a file is another one.
fn damage(disk: &MemDisk, path: &str) {
    disk.spoil(path, |bytes| {
        let at = bytes.len() / 2;
        bytes[at] ^= 4;
    });
}

/// A write that was cut off in its middle.
pub(super) fn interrupted(case: &Case) -> Workshop {
    let mut shop = case.shop();
    interrupt(&mut shop, case);
    shop
}

/// Begins the write of a case and cuts it off in its middle.
pub(super) fn interrupt(shop: &mut Workshop, case: &Case) {
    let half = shop.port.now() + Nanos(case.lasts.0 * 3 / 4);
    let disk = Arc::<MemDisk>::clone(&shop.disk);
    let plan =
        WriteOptions::Plan { code: case.code.clone(), confirm: shop.description.specimen.clone() };
    let cut =
        shop.run_through(&Job::Write(plan), |port| Box::new(Cut { port, at: Some(half), disk }));
    assert_ne!(cut.code, 0, "{}", cut.text);
    shop.idle();
    let now = shop.contents("store");
    assert!(now != case.before && now != case.target, "it is not in the middle");
}

fn resume(shop: &mut Workshop) -> Outcome {
    shop.run(&Job::Write(WriteOptions::Resume))
}

#[track_caller]
fn refused(shop: &Workshop, outcome: &Outcome, codes: &[u8], words: &[&str]) {
    assert!(codes.contains(&outcome.code), "{}: {}", outcome.code, outcome.text);
    for word in words {
        assert!(outcome.text.contains(word), "'{word}': {}", outcome.text);
    }
    assert!(!shop.port.bench().adapter().rail_is_on(), "{}", outcome.text);
}

#[test]
fn a_disk_that_is_full_stops_before_the_module_is_touched_or_between_sectors() {
    let case = Case::new("SMALL-A", "amd");
    let mut stopped = 0;
    for room in (0..4_000).step_by(97) {
        let mut shop = case.shop();
        shop.disk.room(Some(room));
        let outcome = shop.written(&case.code);
        if outcome.code == 0 {
            assert!(shop.contents("store") == case.target);
            continue;
        }
        stopped += 1;
        refused(&shop, &outcome, &[3], &["/shelf"]);
        let journals = files(&shop.disk, "/shelf/journals", "");
        assert!(!journals.is_empty() || shop.contents("store") == case.before, "room {room}");
        shop.disk.room(None);
        let again = resume(&mut shop);
        let settled = if again.code == 2 { shop.written(&case.code) } else { again };
        assert_eq!(settled.code, 0, "room {room}: {}", settled.text);
        assert!(shop.contents("store") == case.target, "room {room}");
    }
    assert!(stopped > 10, "the disk was full {stopped} times");
}

#[test]
fn a_read_only_shelf_changes_nothing() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = case.shop();
    shop.disk.read_only(true);
    let outcome = shop.written(&case.code);
    refused(&shop, &outcome, &[3], &["/shelf"]);
    assert!(shop.contents("store") == case.before);
}

#[test]
fn a_damaged_plan_is_not_carried_out() {
    let case = Case::new("SMALL-A", "amd");
    for end in ["plan.toml", "target.bin"] {
        let mut shop = case.shop();
        let found = files(&shop.disk, "/shelf/plans", end);
        assert_eq!(found.len(), 1, "{found:?}");
        damage(&shop.disk, &found[0]);
        let outcome = shop.written(&case.code);
        refused(&shop, &outcome, &[2, 3, 4], &[&case.code]);
        assert!(shop.contents("store") == case.before, "{end}");
    }
}

#[test]
fn a_damaged_backup_is_taken_anew_before_a_write_and_refused_in_the_middle_of_one() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = case.shop();
    for path in files(&shop.disk, "/shelf/captures", "content.bin") {
        damage(&shop.disk, &path);
    }
    let outcome = shop.written(&case.code);
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == case.target);

    let mut shop = interrupted(&case);
    let before = shop.contents("store");
    for path in files(&shop.disk, "/shelf/captures", "content.bin") {
        damage(&shop.disk, &path);
    }
    let outcome = resume(&mut shop);
    refused(&shop, &outcome, &[4], &["backup"]);
    assert!(shop.contents("store") == before);
}

#[test]
fn a_damaged_journal_is_told_and_nothing_is_changed() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = interrupted(&case);
    let before = shop.contents("store");
    let found = files(&shop.disk, "/shelf/journals", "");
    assert_eq!(found.len(), 1, "{found:?}");
    damage(&shop.disk, &found[0]);
    let outcome = resume(&mut shop);
    refused(&shop, &outcome, &[2, 3, 4], &["journal"]);
    assert!(shop.contents("store") == before);
}

#[test]
fn another_module_is_not_gone_on_with() {
    let case = Case::new("SMALL-A", "amd");
    let half = interrupted(&case);
    // The same kind with the same chips, as it was before: one untouched word differs.
    let mut other = case.shop();
    let mut contents = case.before.clone();
    contents[0x6000] ^= 1;
    other.description.set_contents("store", contents.clone()).unwrap();
    let description = other.description.clone();
    let wanted = other.wanted.clone();
    let mut other = Workshop { disk: Arc::clone(&half.disk), wanted, ..Workshop::of(description) };
    let outcome = resume(&mut other);
    refused(&other, &outcome, &[4], &["another module"]);
    assert!(other.contents("store") == contents, "it was changed");
}
