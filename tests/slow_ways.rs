//! Hosts that stand still, and ways on which an answer takes long.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use buswright::app::{CaptureOptions, Event, Job, Known, Machine, Outcome, SimPort};
use buswright::app::{Wanted, run_job};
use buswright::bus::{Baud, Nanos};
use buswright::link::{Cancel, Port, PortLost, RatePlan, Transmit};
use buswright::sim::{Bench, BenchDescription};
use std::path::Path;

/// Captures the records of `description` over `port`.
fn capture(
    description: &BenchDescription,
    port: &mut dyn Port,
    shelf: &Path,
) -> (Outcome, Vec<Event>) {
    let mut machine = Machine {
        port,
        plan: RatePlan::default(),
        identity: "sim",
        bench: Some(description),
        known: &mut Known::load(shelf),
        cancel: Cancel::default(),
        shelf,
    };
    let options = CaptureOptions { space: Some("records".into()), ..CaptureOptions::default() };
    let mut events = Vec::new();
    let outcome = run_job(&mut machine, &Wanted::default(), &Job::Capture(options), &mut |event| {
        events.push(event.clone());
    });
    (outcome, events)
}

fn baud(events: &[Event]) -> Option<u32> {
    events.iter().find_map(|event| match event {
        Event::Connected { baud, .. } => Some(*baud),
        _ => None,
    })?
}

fn tg7() -> BenchDescription {
    BenchDescription::builtin("TG-7").unwrap()
}

#[test]
fn a_way_of_150_ms_each_is_connected_at_the_fast_rate_and_asks_nothing_twice() {
    for delay in [0, 45, 80, 110, 150] {
        let mut description = tg7();
        description.line.delay = Nanos::from_millis(delay);
        let mut port = SimPort::new(Bench::new(&description, 1));
        let shelf = tempfile::tempdir().unwrap();
        let (outcome, events) = capture(&description, &mut port, shelf.path());
        assert_eq!(outcome.code, 0, "{delay} ms: {}", outcome.text);
        assert_eq!(baud(&events), Some(1_000_000), "{delay} ms");
        let link = &outcome.report.as_ref().unwrap()["link_stats"];
        assert_eq!(link["repeats"], 0, "{delay} ms: {link}");
    }
}

#[test]
fn a_slower_way_still_connects() {
    let mut description = tg7();
    description.line.delay = Nanos::from_millis(190);
    let mut port = SimPort::new(Bench::new(&description, 1));
    let shelf = tempfile::tempdir().unwrap();
    let (outcome, _) = capture(&description, &mut port, shelf.path());
    assert_eq!(outcome.code, 0, "{}", outcome.text);
}

#[test]
fn a_slow_way_is_found_at_every_rate() {
    for rate in [115_200, 250_000, 500_000] {
        let mut description = tg7();
        description.line.delay = Nanos::from_millis(150);
        description.adapter.reset_rate = Baud(rate);
        let mut port = SimPort::new(Bench::new(&description, 1));
        let shelf = tempfile::tempdir().unwrap();
        let (outcome, _) = capture(&description, &mut port, shelf.path());
        assert_eq!(outcome.code, 0, "{rate} baud: {}", outcome.text);
    }
}

/// A host that is stopped for a while, or whose computer sleeps: the world goes on without it.
struct StandsStill {
    port: SimPort,
    at: Nanos,
    pause: Nanos,
}

impl Port for StandsStill {
    fn now(&self) -> Nanos {
        self.port.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.port.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        if self.pause > Nanos::ZERO && self.now() >= self.at {
            let end = self.now() + std::mem::replace(&mut self.pause, Nanos::ZERO);
            while self.now() < end {
                let mut arrived = Vec::new();
                self.port.wait(Some(end), &mut arrived)?;
                into.append(&mut arrived);
            }
            return Ok(());
        }
        self.port.wait(until, into)
    }
}

#[test]
fn a_host_that_stood_still_says_so_and_blames_no_supply() {
    // After more than 10 s the adapter is at its reset rate, too.
    for (pause, words) in [(7, "stood still for 7 s"), (30, "stood still for 30 s")] {
        let description = tg7();
        let shelf = tempfile::tempdir().unwrap();
        let port = SimPort::new(Bench::new(&description, 1));
        let (at, pause) = (Nanos::from_secs(2), Nanos::from_secs(pause));
        let mut port = StandsStill { port, at, pause };
        let (outcome, events) = capture(&description, &mut port, shelf.path());
        assert_eq!(outcome.code, 3, "{}", outcome.text);
        for words in [words, "5 s after the last word", "records"] {
            assert!(outcome.text.contains(words), "'{words}' in {}", outcome.text);
        }
        assert!(!outcome.text.contains("check supply"), "{}", outcome.text);
        let rail = events.iter().rev().find_map(|event| match event {
            Event::Rail { on, .. } => Some(*on),
            _ => None,
        });
        assert_eq!(rail, Some(false), "it was asked to be off, and is");
    }
}

#[test]
fn a_short_halt_is_no_trouble() {
    let description = tg7();
    let shelf = tempfile::tempdir().unwrap();
    let port = SimPort::new(Bench::new(&description, 1));
    let (at, pause) = (Nanos::from_secs(2), Nanos::from_secs(3));
    let mut port = StandsStill { port, at, pause };
    let (outcome, _) = capture(&description, &mut port, shelf.path());
    assert_eq!(outcome.code, 0, "{}", outcome.text);
}
