//! After a write that came to no good end: what leads back stays the copy from before it, and what
//! it left in doubt is erased again, whatever it reads.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::crash_tests::{Case, Cut};
use super::write_bad_tests::{interrupt, interrupted};
use super::write_job_tests::{Through, Workshop};
use super::{EraseOptions, Event, Job, Outcome, PlanOptions, WriteOptions};
use crate::bus::{Millivolts, Nanos};
use crate::link::Port;
use crate::sim::{ChipFaults, Wear};

const BACKUP: &str = "0417-001";

fn back(shop: &mut Workshop) -> Outcome {
    shop.run(&Job::Plan(PlanOptions::default()))
}

fn code(outcome: &Outcome) -> String {
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    outcome.report.as_ref().unwrap()["code"].as_str().unwrap().to_owned()
}

fn erased(outcome: &Outcome) -> u64 {
    let spaces = outcome.report.as_ref().unwrap()["spaces"].as_array().unwrap().clone();
    let runs = spaces.iter().flat_map(|space| space["runs"].as_array().unwrap().clone());
    let erased = runs.filter(|run| run["action"] == "erase");
    erased.map(|run| run["last"].as_u64().unwrap() - run["first"].as_u64().unwrap() + 1).sum()
}

fn said(shop: &Workshop, words: &str) -> bool {
    let has = |event: &Event| matches!(event, Event::Caution { text } if text.contains(words));
    shop.events.iter().any(has)
}

fn capture() -> Job {
    Job::Capture(super::CaptureOptions { passes: 2, ..Default::default() })
}

#[test]
fn another_plan_after_an_interruption_keeps_the_way_back() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = interrupted(&case);
    // An image that differs nowhere in the sector that was in hand would leave it alone.
    let mut image = case.before.clone();
    image[0x4000..0x4100].fill(0x77);
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), &image).unwrap();
    let options = PlanOptions {
        image: Some(file.path().to_string_lossy().into_owned()),
        space: Some("store".into()),
        ..PlanOptions::default()
    };
    let planned = shop.run(&Job::Plan(options));
    let other = code(&planned);
    assert!(said(&shop, "is not finished") && said(&shop, BACKUP));
    assert_eq!(planned.report.as_ref().unwrap()["backup"], BACKUP);
    assert!(!planned.text.contains("equals it now"), "{}", planned.text);
    let lead = format!("{BACKUP}; from before the write that came to no good end");
    assert!(planned.text.contains(&lead), "{}", planned.text);
    assert!(erased(&planned) > 0, "{}", planned.text);
    let outcome = shop.written(&other);
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(outcome.text.contains(BACKUP), "{}", outcome.text);
    assert!(shop.contents("store") == image);
    let outcome = back(&mut shop);
    assert!(outcome.text.contains(BACKUP), "{}", outcome.text);
    let outcome = shop.written(&code(&outcome));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == case.before);
}

#[test]
fn the_way_back_in_the_midst_of_a_write_and_twice() {
    for (chip, family) in [("SMALL-A", "amd"), ("SMALL-I", "intel")] {
        let case = Case::new(chip, family);
        let mut shop = interrupted(&case);
        let outcome = back(&mut shop);
        assert!(erased(&outcome) > 0, "{}", outcome.text);
        let lead = code(&outcome);
        // The way back is cut off, too.
        let at = shop.port.now() + Nanos::from_millis(12_500);
        shop.port.bench_mut().at(at, crate::sim::Event::Sag(Millivolts(0)));
        let cut = shop.written(&lead);
        assert_ne!(cut.code, 0, "{}", cut.text);
        let outcome = back(&mut shop);
        let outcome = shop.written(&code(&outcome));
        assert_eq!(outcome.code, 0, "{}", outcome.text);
        assert!(shop.contents("store") == case.before, "{chip}");
        let outcome = shop.run(&Job::Write(WriteOptions::Resume));
        assert_eq!(outcome.code, 2, "{}", outcome.text);
    }
}

#[test]
fn a_plan_from_before_the_interruption_is_refused_and_so_is_the_same_again() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = case.shop();
    let mut image = case.before.clone();
    image[0x1_9000..0x1_9100].fill(0);
    let unaware = shop.planned(&image, "store");
    interrupt(&mut shop, &case);
    let now = shop.contents("store");
    let outcome = shop.written(&unaware);
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    assert!(outcome.text.contains("make a new one"), "{}", outcome.text);
    let outcome = shop.written(&case.code);
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    assert!(outcome.text.contains("`buswright resume`"), "{}", outcome.text);
    assert!(shop.contents("store") == now);
}

#[test]
fn an_erase_after_an_interruption_restores_what_it_does_not_erase() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = interrupted(&case);
    let confirm = shop.description.specimen.clone();
    let options = EraseOptions { range: "0".into(), confirm, ..EraseOptions::default() };
    let outcome = shop.run(&Job::Erase(options));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    let outcome = back(&mut shop);
    let outcome = shop.written(&code(&outcome));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == case.before);
}

#[test]
fn a_capture_in_between_says_so() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = interrupted(&case);
    let outcome = shop.run(&capture());
    assert!([0, 1].contains(&outcome.code), "{}", outcome.text);
    assert!(said(&shop, "is not finished"));
    assert!(!said(&shop, "Did the instrument start"));
}

/// The note in the record of a capture.
fn note(shop: &Workshop, id: &str) -> String {
    let disk = std::sync::Arc::<crate::shelf::MemDisk>::clone(&shop.disk);
    let shelf = crate::shelf::Shelf::open(disk, std::path::Path::new("/shelf")).unwrap();
    shelf.get(id, None).unwrap().record.note
}

#[test]
fn the_note_of_a_capture_in_between_stays_true() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = interrupted(&case);
    shop.run(&capture());
    let noted = note(&shop, "0417-002");
    let unfinished = format!("taken while the write of plan {} was unfinished", case.code);
    assert!(noted.contains(&unfinished) && noted.contains(BACKUP), "{noted}");
    // Whoever takes it for an image is told.
    let image = "@last".to_owned();
    let (space, range, accept_simulated) = (None, None, false);
    shop.run(&Job::Verify { image, space, range, accept_simulated });
    assert!(said(&shop, "0417-002 holds a mixture: it was taken while the write"));
    back(&mut shop);
    let said = note(&shop, "0417-003");
    assert!(said.contains("without sectors in doubt: taken while"), "{said}");
    assert!(!said.contains("resume"), "{said}");
}

#[test]
fn a_write_that_lacks_nothing_but_its_proof_is_called_so() {
    let case = Case::new("SMALL-A", "amd");
    let mut shop = case.shop();
    let cancel = shop.cancel.clone();
    shop.stop_at = Some(Box::new(move |event| {
        let last = "compared with the plan after the power cycle";
        if matches!(event, Event::Note { text } if text.contains(last)) {
            cancel.request();
        }
    }));
    let outcome = shop.written(&case.code);
    assert_eq!(outcome.code, 130, "{}", outcome.text);
    shop.stop_at = None;
    shop.cancel = crate::link::Cancel::default();
    assert!(shop.contents("store") == case.target);
    shop.run(&capture());
    assert!(said(&shop, "is not finished: `buswright resume` goes on"));
    assert!(said(&shop, "Every sector is written, and the proof"));
    assert!(!said(&shop, "is neither what it held"));
    let note = note(&shop, "0417-002");
    assert!(note.contains("taken while the proof of the write of plan"), "{note}");
    back(&mut shop);
    let resumed = shop.run(&Job::Write(WriteOptions::Resume));
    assert_eq!(resumed.code, 0, "{}", resumed.text);
}

#[test]
fn after_a_worn_sector_there_is_a_way_back() {
    let case = Case::new("SMALL-A", "amd");
    let mut description = case.description.clone();
    for (memory, _) in &mut description.memories {
        for chip in &mut memory.chips {
            chip.faults = ChipFaults { worn: vec![(6, Wear::Reported)], ..ChipFaults::default() };
        }
    }
    let mut shop = case.shop_of(description);
    let outcome = shop.written(&case.code);
    assert_eq!(outcome.code, 1, "{}", outcome.text);
    assert!(outcome.text.contains("plan --back"), "{}", outcome.text);
    let outcome = back(&mut shop);
    assert!(erased(&outcome) > 0, "{}", outcome.text);
    code(&outcome);
}

/// The words at which chips are asked lie in the sector that was in hand.
#[test]
fn cells_that_do_not_hold_still_do_not_keep_a_write_from_going_on() {
    let case = Case::new("SMALL-A", "amd");
    let mut image = case.before.clone();
    image[..0x1000].fill(0x0F);
    image[0x4000..0x5000].fill(0xF0);
    let (mut resumed, mut planned) = (0, 0);
    for seed in 0..20 {
        let mut shop = case.shop();
        let other = shop.planned(&image, "store");
        let at = shop.port.now() + Nanos::from_millis(10_900 + 130 * seed);
        shop.port.bench_mut().at(at, crate::sim::Event::Sag(Millivolts(0)));
        if shop.written(&other).code == 0 {
            continue;
        }
        if seed % 2 == 0 {
            let outcome = shop.run(&Job::Write(WriteOptions::Resume));
            if outcome.code == 2 {
                continue;
            }
            assert_eq!(outcome.code, 0, "{seed}: {}", outcome.text);
            assert!(shop.contents("store") == image);
            resumed += 1;
        } else {
            let outcome = back(&mut shop);
            if outcome.report.as_ref().is_none_or(|report| report["code"].is_null()) {
                continue;
            }
            let outcome = shop.written(&code(&outcome));
            assert_eq!(outcome.code, 0, "{seed}: {}", outcome.text);
            assert!(shop.contents("store") == case.before);
            planned += 1;
        }
    }
    assert!(resumed > 2 && planned > 2, "{resumed} resumed, {planned} planned back");
}

#[test]
fn an_adapter_that_is_busy_with_what_was_left_is_waited_for_and_that_is_said() {
    let case = Case::new("SMALL-A", "amd");
    let mut waited = 0;
    for part in 0..12 {
        let mut shop = case.shop();
        // A job begins after this; then so much of it passes.
        let idle = super::write_job_tests::IDLE;
        let share = (case.lasts.0 - idle.0) * (30 + 5 * part) / 100;
        let at = shop.port.now() + idle + Nanos(share);
        let disk = std::sync::Arc::<crate::shelf::MemDisk>::clone(&shop.disk);
        let confirm = shop.description.specimen.clone();
        let plan = WriteOptions::Plan { code: case.code.clone(), confirm };
        let cut =
            shop.run_through(&Job::Write(plan), |port| Box::new(Cut { port, at: Some(at), disk }));
        if cut.code == 0 {
            break;
        }
        shop.events.clear();
        let look = Job::Identify(super::IdentifyOptions::default());
        let outcome = shop.run_at_once(&look, |port| Box::new(Through(port)));
        assert_eq!(outcome.code, 0, "{}", outcome.text);
        let busy = "the adapter is still busy with what an earlier session left";
        waited +=
            u32::from(said(&shop, busy) && said(&shop, "nobody knows whether the rail is on"));
    }
    assert!(waited > 0, "no cut was in an erase");
}
