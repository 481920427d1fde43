//! A capture whose disk is full, read-only or fails at any operation: the error says what next, the
//! rail is off, and the next capture goes on.

use super::jobs::run_on_disk;
use super::{CaptureOptions, Event, Job, Known, Machine, Outcome, SimPort, Wanted};
use crate::link::{Cancel, RatePlan};
use crate::shelf::{MemDisk, Tear};
use crate::sim::{Bench, BenchDescription};
use std::path::Path;
use std::sync::Arc;

/// A capture of the records of a TG-7, four blocks, on a new bench.
fn capture(disk: &Arc<MemDisk>) -> (Outcome, Vec<Event>) {
    let options = CaptureOptions { space: Some("records".into()), ..CaptureOptions::default() };
    run(disk, &Job::Capture(options))
}

fn run(disk: &Arc<MemDisk>, job: &Job) -> (Outcome, Vec<Event>) {
    let description = BenchDescription::builtin("TG-7").unwrap();
    let mut port = SimPort::new(Bench::new(&description, 1));
    let mut machine = Machine {
        port: &mut port,
        plan: RatePlan::default(),
        identity: "sim",
        bench: Some(&description),
        known: &mut Known::default(),
        cancel: Cancel::default(),
        shelf: Path::new("/shelf"),
    };
    let mut events = Vec::new();
    let outcome = run_on_disk(
        &mut machine,
        &Wanted::default(),
        job,
        &mut |event| events.push(event.clone()),
        Arc::<MemDisk>::clone(disk),
    );
    (outcome, events)
}

fn rail(events: &[Event]) -> Option<bool> {
    events.iter().rev().find_map(|event| match event {
        Event::Rail { on, .. } => Some(*on),
        _ => None,
    })
}

#[test]
fn a_full_disk_stops_the_capture_and_room_lets_it_go_on() {
    for room in [0, 10_000, 100_000, 200_000, 300_000] {
        let disk = Arc::new(MemDisk::default());
        disk.room(Some(room));
        let (outcome, events) = capture(&disk);
        if outcome.code == 0 {
            assert!(room >= 300_000, "{room} bytes cannot hold 256 KiB");
            continue;
        }
        assert_eq!(outcome.code, 3, "{}", outcome.text);
        assert!(outcome.text.contains("/shelf"), "which file: {}", outcome.text);
        assert_ne!(rail(&events), Some(true));
        disk.room(None);
        let (outcome, _) = capture(&disk);
        assert_eq!(outcome.code, 0, "{}", outcome.text);
    }
}

#[test]
fn a_read_only_shelf_is_refused_before_the_rail_is_switched() {
    let disk = Arc::new(MemDisk::default());
    disk.read_only(true);
    let (outcome, events) = capture(&disk);
    assert_eq!(outcome.code, 3, "{}", outcome.text);
    assert_eq!(rail(&events), None, "{}", outcome.text);
}

#[test]
fn a_disk_that_fails_at_any_operation_loses_nothing() {
    let mut operation = 1;
    loop {
        let disk = Arc::new(MemDisk::default());
        disk.fail_at(operation, Tear::Half);
        let (first, events) = capture(&disk);
        assert_ne!(rail(&events), Some(true), "operation {operation}");
        let finals = events.iter().filter(|event| matches!(event, Event::Finished(_)));
        assert_eq!(finals.count(), 1);
        if !disk.restart(false) {
            assert_eq!(first.code, 0, "{}", first.text);
            break;
        }
        assert!([0, 3].contains(&first.code), "operation {operation}: {}", first.text);
        let (again, _) = capture(&disk);
        assert_eq!(again.code, 0, "operation {operation}: {}", again.text);
        operation += 1;
    }
    assert!(operation > 20, "only {operation} operations were tried");
}

#[test]
fn a_verdict_is_told_also_where_it_cannot_be_written_down() {
    let disk = Arc::new(MemDisk::default());
    assert_eq!(capture(&disk).0.code, 0);
    disk.read_only(true);
    let (image, space, range) = ("0417-001".to_string(), None, None);
    let (outcome, events) =
        run(&disk, &Job::Verify { image, space, range, accept_simulated: false });
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(outcome.text.contains("equals"), "{}", outcome.text);
    let warned = events
        .iter()
        .any(|event| matches!(event, Event::Note { text } if text.contains("history has no line")));
    assert!(warned);
}
