//! What goes wrong between host, adapter and module: every error says what, where and what next,
//! nothing is lost, and the rail is off afterwards.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{BlockState, CaptureOptions, Event, Job, SimPort};
use buswright::bus::{Baud, Millivolts, Nanos};
use buswright::link::{Cancel, Client, LinkError, Port, PortLost, RatePlan, Session, Transmit};
use buswright::link::{connect, drive, raise_rate};
use buswright::sim::{Bench, BenchDescription, Event as BenchEvent};
use buswright::wire::{Kind, RailState};
use std::path::Path;
use virtual_time::{Run, Scenario};

fn tg7() -> BenchDescription {
    BenchDescription::builtin("TG-7").unwrap()
}

/// Runs a capture that must fail with `code` and say all of `words`.
fn fails(description: BenchDescription, code: u8, words: &[&str]) -> Run {
    let shelf = tempfile::tempdir().unwrap();
    let run = Scenario::of(description, shelf.path()).run();
    assert_says(&run, code, words);
    run
}

fn assert_says(run: &Run, code: u8, words: &[&str]) {
    let said = run.words();
    assert_eq!(run.outcome.code, code, "{said}");
    for word in words {
        assert!(said.contains(word), "'{word}' is missing in: {said}");
    }
    let finals = run.events.iter().filter(|(_, e)| matches!(e, Event::Finished(_))).count();
    assert_eq!(finals, 1, "exactly one final event");
}

fn rail_was_switched_on(run: &Run) -> bool {
    run.time_of(|event| matches!(event, Event::Rail { on: true, .. })).is_some()
}

fn captures(shelf: &Path) -> usize {
    std::fs::read_dir(shelf.join("captures")).map_or(0, Iterator::count)
}

#[test]
fn a_good_bench_is_captured_and_verified() {
    let shelf = tempfile::tempdir().unwrap();
    let run = Scenario::capture("TG-7", shelf.path()).run();
    assert_says(&run, 0, &["agreed", "0417-001"]);
    let report = run.outcome.report.as_ref().unwrap();
    assert_eq!(report["doubts"].as_array().unwrap().len(), 0, "{report}");
    let agreed = run
        .events
        .iter()
        .filter(|(_, e)| matches!(e, Event::Block { state: BlockState::Agreed, .. }));
    assert_eq!(agreed.count(), 36, "32 blocks of the store and 4 of the records");
    let run = Scenario::capture("TG-7", shelf.path()).verify("@last").run();
    assert_says(&run, 0, &["equals"]);
}

#[test]
fn verify_names_the_words_that_differ() {
    let shelf = tempfile::tempdir().unwrap();
    let run = Scenario::capture("TG-7", shelf.path()).run();
    assert_says(&run, 0, &[]);
    let mut copy = std::fs::read(shelf.path().join("captures/0417-001/content.bin")).unwrap();
    copy[0x1234 * 4] ^= 0x10;
    let file = shelf.path().join("changed.bin");
    std::fs::write(&file, copy).unwrap();
    let run = Scenario::capture("TG-7", shelf.path()).verify(file.to_str().unwrap()).run();
    assert_says(&run, 1, &["1 word of", "store word 0x1234"]);
}

#[test]
fn unplugged_in_mid_capture_keeps_what_was_read_and_goes_on() {
    let shelf = tempfile::tempdir().unwrap();
    let scenario = Scenario::capture("TG-7", shelf.path());
    let mut port = SimPort::new(Bench::new(&scenario.description, 1));
    port.bench_mut().after(700, Kind::READ, BenchEvent::Unplug);
    let run = scenario.run_on(&mut port, |_, _| ());
    assert_says(
        &run,
        3,
        &[
            "cable was pulled",
            "pass one of space store",
            "are kept",
            "goes on",
            "Measure it before",
        ],
    );
    assert_eq!(captures(shelf.path()), 0);
    let run = scenario.run();
    assert_says(&run, 0, &["agreed", "gone on with after 1 interruption"]);
    let kept = run.events.iter().find_map(|(_, e)| match e {
        Event::Resumed { blocks, .. } => Some(*blocks),
        _ => None,
    });
    assert!(kept.unwrap() >= 5, "{kept:?} blocks were kept");
    let verified = Scenario::capture("TG-7", shelf.path()).verify("@last").run();
    assert_says(&verified, 0, &["equals"]);
}

#[test]
fn a_reset_in_mid_capture_is_named_and_the_capture_goes_on() {
    let shelf = tempfile::tempdir().unwrap();
    let scenario = Scenario::capture("TG-7", shelf.path());
    let mut port = SimPort::new(Bench::new(&scenario.description, 1));
    port.bench_mut().after(900, Kind::READ, BenchEvent::Reset);
    let run = scenario.run_on(&mut port, |_, _| ());
    assert_says(&run, 3, &["restarted", "store", "are kept", "Measure it before"]);
    assert_says(&scenario.run(), 0, &["gone on with"]);
}

#[test]
fn a_rail_that_does_not_rise_or_sags_is_told_with_its_voltage() {
    let mut description = tg7();
    description.adapter.rail.rises = false;
    fails(description, 3, &["rail did not rise", "mV", "short"]);
    let mut description = tg7();
    description.adapter.rail.sag = Some((Nanos::from_secs(5), Millivolts(2_400)));
    fails(description, 3, &["rail went off by itself", "2400 mV", "check supply"]);
}

#[test]
fn a_rail_that_stays_up_is_said_loudly() {
    let mut description = tg7();
    description.adapter.rail.feeds_back = true;
    let words = ["powered through its lines", "does not end by itself", "do not touch"];
    let run = fails(description, 3, &words);
    // What was read is on the shelf, and is told.
    let report = run.outcome.report.as_ref().unwrap();
    assert_eq!(report["id"], "0417-001");
    assert!(run.outcome.text.contains(report["sha256"].as_str().unwrap()), "{}", run.words());
}

#[test]
fn voltages_that_do_not_fit_are_refused_before_the_rail() {
    type Change = fn(&mut BenchDescription);
    let cases: [(Change, &str); 3] = [
        (|d| d.adapter.rails = vec![Millivolts(5_000)], "asks for a rail of 3300 mV"),
        (|d| d.adapter.io_high = Millivolts(5_000), "level shifters"),
        (|d| d.adapter.input_max = Millivolts(3_000), "inputs take"),
    ];
    for (change, words) in cases {
        let mut description = tg7();
        change(&mut description);
        let run = fails(description, 4, &[words]);
        assert!(!rail_was_switched_on(&run));
    }
}

#[test]
fn lines_that_are_missing_are_refused_before_the_rail() {
    let mut description = tg7();
    description.adapter.data_lines = 16;
    let run = fails(description, 2, &["data lines", "16"]);
    assert!(!rail_was_switched_on(&run));
    let mut description = tg7();
    description.adapter.address_lines = 16;
    fails(description, 2, &["address lines", "A16"]);
    let mut description = tg7();
    description.adapter.control.retain(|line| line.name != "CS1");
    fails(description, 2, &["CS1"]);
}

#[test]
fn another_protocol_is_told_with_what_to_update() {
    for (major, words) in [(0, "newer firmware"), (9, "newer buswright")] {
        let mut description = tg7();
        description.adapter.major = major;
        fails(description, 3, &["wire protocol", words]);
    }
}

#[test]
fn a_board_that_restarts_when_its_port_is_opened_is_waited_for() {
    let mut description = tg7();
    description.restarts_on_open = true;
    description.adapter.boot_time = Nanos::from_millis(2_500);
    let shelf = tempfile::tempdir().unwrap();
    assert_says(&Scenario::of(description, shelf.path()).run(), 0, &["agreed"]);
}

#[test]
fn an_adapter_left_at_another_rate_is_found_by_memory_or_after_its_fall_back() {
    let shelf = tempfile::tempdir().unwrap();
    let mut scenario = Scenario::capture("TG-7", shelf.path());
    let mut port = SimPort::new(Bench::new(&scenario.description, 1));
    assert_says(&scenario.run_on(&mut port, |_, _| ()), 0, &[]);
    assert_eq!(port.bench().adapter().rate(), Baud(1_000_000), "it was left at the fast rate");
    // The host that remembers finds it at once; the one that does not is told to wait.
    scenario.plan.remembered = Some(Baud(1_000_000));
    assert_says(&scenario.run_on(&mut port, |_, _| ()), 0, &[]);
    scenario.plan.remembered = None;
    let run = scenario.run_on(&mut port, |_, _| ());
    assert_says(&run, 3, &["no adapter answered", "after 10 s", "115200, 250000 and 500000"]);
    let mut search = 1;
    while scenario.run_on(&mut port, |_, _| ()).outcome.code != 0 {
        search += 1;
        assert!(search < 4, "10 s are over");
    }
}

/// A machine so busy that the first answer is seen only after the next rate has been set.
struct SeenLate {
    port: SimPort,
    rates: u32,
    held: Vec<u8>,
}

impl Port for SeenLate {
    fn now(&self) -> Nanos {
        self.port.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.rates += u32::from(matches!(what, Transmit::Rate(_)));
        self.port.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        if self.rates <= 1 {
            // A buffer of its own: the port comes back at once as long as one holds bytes.
            let mut heard = Vec::new();
            let result = self.port.wait(until, &mut heard);
            self.held.append(&mut heard);
            return result;
        }
        into.append(&mut self.held);
        if into.is_empty() { self.port.wait(until, into) } else { Ok(()) }
    }
}

#[test]
fn an_answer_seen_late_does_not_stand_for_the_rate_set_since() {
    let shelf = tempfile::tempdir().unwrap();
    let scenario = Scenario::capture("TG-7", shelf.path());
    let mut port = SimPort::new(Bench::new(&scenario.description, 1));
    assert_says(&scenario.run_on(&mut port, |_, _| ()), 0, &[]);
    let left_at = port.bench().adapter().rate();
    let mut port = SeenLate { port, rates: 0, held: Vec::new() };
    let client = Client::new(Session::new(6, Some(Baud(115_200))));
    let plan = RatePlan { remembered: Some(left_at), ..RatePlan::default() };
    let rate = drive(&client, &mut port, &Cancel::default(), async {
        let hello = connect(&client, plan).await?;
        raise_rate(&client, &hello, None).await
    });
    assert!(port.held.is_empty() && port.rates > 1, "the first answer was not held back");
    assert_eq!(rate, Ok(Some(left_at)));
}

/// Something on the port that is no adapter: it says the same again and again.
struct Chatter {
    text: Vec<u8>,
    now: Nanos,
}

impl Port for Chatter {
    fn now(&self) -> Nanos {
        self.now
    }

    fn transmit(&mut self, _: Transmit) -> Result<(), PortLost> {
        Ok(())
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        let next = self.now + Nanos::from_millis(30);
        self.now = until.map_or(next, |until| until.min(next)).max(self.now);
        into.extend(&self.text);
        Ok(())
    }
}

fn connect_to(text: &[u8]) -> LinkError {
    let client = Client::new(Session::new(5, Some(Baud(115_200))));
    let mut port = Chatter { text: text.to_vec(), now: Nanos::ZERO };
    let search = connect(&client, RatePlan::default());
    drive(&client, &mut port, &Cancel::default(), search).unwrap_err()
}

#[test]
fn something_else_on_the_port_is_told_apart_from_silence() {
    let login = connect_to(b"\r\nlogin: ").to_string();
    assert!(login.contains("bytes were heard that are no frames"), "{login}");
    let mut rng = fastrand::Rng::with_seed(1);
    let noise: Vec<u8> = (0..200).map(|_| rng.u8(..)).collect();
    assert!(connect_to(&noise).to_string().contains("no frames"));
    let frame = buswright::wire::encode_frame(&[0x55, 1, 2, 3]);
    assert!(connect_to(&frame).to_string().contains("answer nothing"));
    let silence = connect_to(b"").to_string();
    assert!(silence.contains("nothing was heard"), "{silence}");
}

#[test]
fn damaged_frames_both_ways_cost_time_and_no_byte() {
    let shelf = tempfile::tempdir().unwrap();
    let mut description = tg7();
    for faults in [&mut description.request_faults, &mut description.reply_faults] {
        faults.drop = 0.01;
        faults.flip = 0.01;
        faults.double = 0.01;
        faults.lost_delimiter = 0.01;
    }
    let run = Scenario::of(description, shelf.path()).run();
    assert_says(&run, 0, &["agreed"]);
    let repeats = run.outcome.report.as_ref().unwrap()["link_stats"]["repeats"].as_u64().unwrap();
    assert!(repeats > 20, "{repeats} repeats");
    assert_says(&Scenario::capture("TG-7", shelf.path()).verify("0417-001").run(), 0, &["equals"]);
}

fn with_line_fault(fault: &str) -> BenchDescription {
    let text = format!(
        r#"
format = 1
sheet = "TG-7"
specimen = "TG-7 #0900"
[[memory]]
kind = "flash"
name = "store"
width = 32
base = 0
words = 0x80000
select = {{ CS0 = "low" }}
access_ns = 150
[[memory]]
kind = "ram"
name = "records"
width = 32
base = 0
words = 0x10000
select = {{ CS1 = "low" }}
access_ns = 100
[[line_fault]]
{fault}
"#
    );
    BenchDescription::parse("faulty.toml", &text).unwrap()
}

#[test]
fn an_open_data_line_never_agrees() {
    // It keeps the precharge: low in pass one, high in pass two.
    let shelf = tempfile::tempdir().unwrap();
    let mut scenario =
        Scenario::of(with_line_fault("line = \"D7\"\nkind = \"open\""), shelf.path());
    scenario.job = Job::Capture(CaptureOptions {
        space: Some("records".into()),
        passes: 4,
        ..CaptureOptions::default()
    });
    let run = scenario.run();
    assert_says(&run, 1, &["never held still", "D7"]);
}

#[test]
fn stuck_and_shorted_lines_become_doubts() {
    for (fault, words) in [
        ("line = \"D3\"\nkind = \"stuck_low\"", "D3"),
        ("line = \"D9\"\nkind = \"shorted_to\"\nto = \"D8\"", "D8"),
        ("line = \"A15\"\nkind = \"stuck_low\"", "repeat"),
    ] {
        let shelf = tempfile::tempdir().unwrap();
        let mut scenario = Scenario::of(with_line_fault(fault), shelf.path());
        scenario.job = Job::Capture(CaptureOptions {
            space: Some("records".into()),
            ..CaptureOptions::default()
        });
        let run = scenario.run();
        let doubts = run.outcome.report.as_ref().map(|r| r["doubts"].to_string()).unwrap();
        assert!(doubts.contains(words), "{fault}: {doubts} / {}", run.words());
    }
}

#[test]
fn an_unsteady_line_is_named_with_its_words() {
    let shelf = tempfile::tempdir().unwrap();
    let fault = "line = \"D5\"\nkind = \"unsteady\"\nchance = 0.0005";
    let mut scenario = Scenario::of(with_line_fault(fault), shelf.path());
    scenario.job = Job::Capture(CaptureOptions {
        space: Some("records".into()),
        passes: 5,
        ..CaptureOptions::default()
    });
    let run = scenario.run();
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    assert!(run.outcome.text.contains("on D5"), "{}", run.outcome.text);
    let record =
        std::fs::read_to_string(shelf.path().join("captures/0900-001/record.toml")).unwrap();
    assert!(record.contains("lines = [\"D5\"]"));
}

/// Ctrl-C `times` times, the first at `at` of simulated time.
fn cancelled_at(at: Nanos, times: u32, shelf: &Path) -> (Run, SimPort) {
    let mut scenario = Scenario::capture("TG-7", shelf);
    scenario.cancel = Cancel::default();
    let cancel = scenario.cancel.clone();
    let mut port = SimPort::new(Bench::new(&scenario.description, 1));
    let mut given = 0;
    let run = scenario.run_on(&mut port, |now, _| {
        // The second comes half a second after the first.
        let due = at + Nanos::from_millis(500) * u64::from(given);
        if given < times && now >= due {
            given += 1;
            cancel.request();
        }
    });
    (run, port)
}

#[test]
fn stopping_once_or_twice_at_any_moment_ends_with_the_rail_off() {
    let whole = {
        let shelf = tempfile::tempdir().unwrap();
        let run = Scenario::capture("TG-7", shelf.path()).run();
        run.events.last().unwrap().0
    };
    let mut rng = fastrand::Rng::with_seed(11);
    for round in 0..40 {
        let at = Nanos(rng.u64(0..whole.0));
        let times = 1 + round % 2;
        let shelf = tempfile::tempdir().unwrap();
        let (run, mut port) = cancelled_at(at, times, shelf.path());
        let said = run.words();
        assert!([130, 0].contains(&run.outcome.code), "at {at:?}: {said}");
        let finals = run.events.iter().filter(|(_, e)| matches!(e, Event::Finished(_)));
        assert_eq!(finals.count(), 1);
        let last_rail = run.events.iter().rev().find_map(|(_, e)| match e {
            Event::Rail { on, .. } => Some(*on),
            _ => None,
        });
        assert_ne!(last_rail, Some(true), "at {at:?}: {said}");
        assert_eq!(rail_state(&mut port), RailState::Off, "at {at:?}: {said}");
        if run.outcome.code == 130 {
            let again = Scenario::capture("TG-7", shelf.path()).run();
            assert_says(&again, 0, &["agreed"]);
        }
    }
}

/// What the adapter itself says of its rail.
fn rail_state(port: &mut SimPort) -> RailState {
    let client = Client::new(Session::new(99, Some(port.bench().adapter().rate())));
    let plan = RatePlan { fixed: Some(port.bench().adapter().rate()), ..RatePlan::default() };
    let ask = async {
        connect(&client, plan).await.unwrap();
        match client.call(buswright::wire::Request::Ping).await.unwrap() {
            buswright::wire::Reply::Ping(ping) => ping.rail,
            other => panic!("{other:?}"),
        }
    };
    drive(&client, port, &Cancel::default(), ask)
}

#[test]
fn a_simulated_copy_is_not_taken_for_a_real_module() {
    let shelf = tempfile::tempdir().unwrap();
    assert_says(&Scenario::capture("TG-7", shelf.path()).run(), 0, &[]);
    let mut real = tg7();
    real.adapter.board = "bench two".into();
    let mut scenario = Scenario::of(real, shelf.path()).verify("0417-001");
    scenario.wanted.sheet = Some("TG-7".into());
    assert_says(&scenario.run(), 2, &["which individual module"]);
    scenario.wanted.specimen = Some("TG-7 #0417".into());
    assert_says(&scenario.run(), 4, &["simulated", "--accept-simulated"]);
    let Job::Verify { accept_simulated, .. } = &mut scenario.job else { panic!("a verify") };
    *accept_simulated = true;
    assert_says(&scenario.run(), 0, &["equals"]);
}

#[test]
fn a_real_board_without_a_sheet_keeps_its_rail_off() {
    let mut real = tg7();
    real.adapter.board = "bench two".into();
    let run = fails(real, 2, &["no module sheet", "--sheet", "TG-7"]);
    assert!(!rail_was_switched_on(&run));
}

/// A computer that is busy: it sees what has arrived only at every 110th millisecond.
struct Busy {
    port: SimPort,
    unseen: Vec<u8>,
}

impl Port for Busy {
    fn now(&self) -> Nanos {
        self.port.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.port.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        let look = Nanos((self.now().0 / 110_000_000 + 1) * 110_000_000);
        let until = until.map_or(look, |until| until.min(look));
        while self.now() < until {
            let mut arrived = Vec::new();
            self.port.wait(Some(until), &mut arrived)?;
            self.unseen.extend(arrived);
        }
        if until == look {
            into.append(&mut self.unseen);
        }
        Ok(())
    }
}

#[test]
fn an_answer_seen_after_the_next_rate_was_tried_counts_for_the_rate_it_was_asked_at() {
    let client = Client::new(Session::new(5, Some(Baud(115_200))));
    let mut port = Busy { port: SimPort::new(Bench::new(&tg7(), 1)), unseen: Vec::new() };
    let job = async {
        let hello = connect(&client, RatePlan::default()).await.unwrap();
        assert_eq!(client.baud(), Some(Baud(115_200)));
        raise_rate(&client, &hello, None).await.unwrap()
    };
    let rate = drive(&client, &mut port, &Cancel::default(), job);
    assert_eq!(rate, Some(Baud(1_000_000)));
    assert!(port.now() < Nanos::from_secs(1), "found at once, not by chance: {:?}", port.now());
}
