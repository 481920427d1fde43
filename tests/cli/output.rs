//! Where words go: JSON, the log, and readers that have gone away.

use crate::home::{Home, Ran, objects, wait_for_end};
use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::process::Stdio;

/// Every line an object, one `finished`, the last: gives it.
#[track_caller]
fn finished(ran: &Ran) -> Value {
    final_event(&ran.events())
}

#[track_caller]
fn final_event(events: &[Value]) -> Value {
    let finals = events.iter().filter(|event| event["event"] == "finished").count();
    let last = events.last().cloned().unwrap_or_default();
    assert_eq!((finals, &last["event"]), (1, &Value::from("finished")), "{last}");
    last
}

#[test]
fn json_is_one_object_a_line_and_the_final_event_comes_last_and_once() {
    let home = Home::new();
    let ran = home.run(&["capture", "--space", "records", "--json"]).says(0, &[]);
    assert_eq!(ran.err.lines().count(), 1, "nothing but SIMULATED BENCH: {ran}");
    let end = finished(&ran);
    assert_eq!((&end["code"], &end["report"]["id"]), (&Value::from(0), &Value::from("0417-001")));
    assert_eq!(end["report"]["bytes"], 262_144);
    assert_eq!(end["report"]["simulated"], true);
    let kinds: Vec<_> = ran.events().iter().map(|event| event["event"].clone()).collect();
    for kind in ["connected", "rail", "pass", "block"] {
        assert!(kinds.contains(&Value::from(kind)), "{kind} in {kinds:?}");
    }
    let ran = home.run(&["verify", "@last", "--json"]).says(0, &[]);
    assert_eq!(finished(&ran)["report"]["differing"], 0);
    let ran = home.run(&["verify", "@last", "--json", "--quiet"]).says(0, &["SIMULATED"]);
    assert_eq!(ran.events().len(), 1, "only the report: {ran}");
    finished(&ran);
}

#[test]
fn json_has_its_final_event_also_when_nothing_could_be_begun() {
    let home = Home::new();
    home.write("bad.toml", "formt = 1");
    for (code, args) in [
        (2, &["capture", "--space", "shop"][..]),
        (2, &["capture", "--sheet", "bad.toml"]),
        (2, &["capture", "--port", "sim:bad.toml"]),
        (2, &["capture", "--port", "tcp:"]),
        (2, &["verify", "@last"]),
        (3, &["capture", "--port", "/dev/no-such"]),
        (3, &["capture", "--port", "tcp:127.0.0.1:1"]),
    ] {
        let ran = home.run(&[args, &["--json"]].concat()).says(code, &[]);
        let end = finished(&ran);
        assert_eq!(end["code"], code, "{end}");
        let text = end["text"].as_str().unwrap();
        assert!(ran.err.contains(text), "people are told too: {ran}");
    }
}

#[test]
fn the_log_keeps_every_event_of_every_run_with_its_time() {
    let home = Home::new();
    let args = ["capture", "--space", "records", "--log", "job.log", "--quiet"];
    let ran = home.run(&args).says(0, &[]);
    assert!(!ran.out.contains("{\"event\""), "{ran}");
    let log = || objects(&fs::read_to_string(home.path("job.log")).unwrap());
    let first = log();
    assert_eq!(final_event(&first)["report"]["id"], "0417-001");
    assert!(first.iter().all(|event| event["time"].is_string()), "{first:?}");
    assert!(first.iter().any(|event| event["event"] == "block"));
    home.run(&args).says(0, &[]);
    let both = log();
    assert_eq!(both[..first.len()], first);
    final_event(&both[first.len()..]);
    home.run(&["capture", "--log", "none/job.log"])
        .says(2, &["none/job.log", "name a file"])
        .never_says(&["RAIL ON"]);
}

#[test]
fn a_reader_that_goes_away_ends_nothing() {
    let home = Home::new();
    let mut command = home.command(&["capture", "--json"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    assert!(line.contains("connected"), "{line}");
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    let code = wait_for_end(&mut child, "capture").code();
    // The job is done; that its words did not get out is in the exit code.
    assert_eq!((code, said.contains("panicked")), (Some(3), false), "{said}");
    assert_eq!(home.content("0417-001").len(), (2 << 20) + (256 << 10));
}

#[test]
fn no_command_falls_over_a_closed_output() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    for args in [
        &["--help"][..],
        &["--version"],
        &["shelf", "list"],
        &["shelf", "show", "@last"],
        &["sheet", "list"],
        &["sheet", "check", "TG-7"],
        &["verify", "@last"],
    ] {
        let mut command = home.command(args);
        if args[0].starts_with('-') {
            command = home.bare(args);
        }
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let mut child = command.stdout(writer).stderr(Stdio::piped()).spawn().unwrap();
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        let code = wait_for_end(&mut child, args[0]).code();
        assert_eq!(code, Some(3), "{args:?}: {said}");
        let quiet = !said.contains("panicked") && !said.contains("standard output");
        assert!(quiet, "{args:?}: {said}");
    }
}

#[test]
fn help_and_wrong_words() {
    let home = Home::new();
    let bare = |args: &[&str]| crate::home::Running::new(&mut home.bare(args)).finish();
    bare(&["--help"]).says(0, &["capture", "verify", "shelf", "sheet", "bench", "ports"]);
    bare(&["--version"]).says(0, &["buswright"]);
    bare(&["capture", "--help"]).says(0, &["--out", "--passes"]);
    // Without a command the workbench opens, where there is a terminal.
    bare(&[]).says(2, &["needs a terminal", "--help"]);
    for args in [&["captur"][..], &["capture", "--nonsense"], &["capture", "extra"]] {
        bare(args).says(2, &["Usage"]);
    }
}

#[test]
fn an_output_that_is_full_is_3_with_a_sentence() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    for args in [
        &["--version"][..],
        &["shelf", "list"],
        &["sheet", "list"],
        &["verify", "@last"],
        &["verify", "@last", "--json"],
    ] {
        let mut command =
            if args[0].starts_with('-') { home.bare(args) } else { home.command(args) };
        let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let mut child = command.stdout(full).stderr(Stdio::piped()).spawn().unwrap();
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        let code = wait_for_end(&mut child, args[0]).code();
        assert_eq!(code, Some(3), "{args:?}: {said}");
        assert!(said.contains("standard output: ") && said.contains("not complete"), "{said}");
    }
    let ran = home.run(&["capture", "--space", "records", "--log", "/dev/full"]);
    ran.says(3, &["log /dev/full: ", "0417-002", "agreed"]);
    // The final event has the exit code of the process, wherever it can still be read.
    let ran = home.run(&["verify", "@last", "--json", "--log", "/dev/full"]);
    assert_eq!((ran.code, &ran.events().last().unwrap()["code"]), (3, &3.into()), "{ran}");
    let mut command = home.command(&["verify", "@last", "--json", "--log", "events.log"]);
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let mut child = command.stdout(full).stderr(Stdio::null()).spawn().unwrap();
    assert_eq!(wait_for_end(&mut child, "verify").code(), Some(3));
    let log = String::from_utf8(home.read("events.log")).unwrap();
    let last: serde_json::Value = serde_json::from_str(log.lines().last().unwrap()).unwrap();
    assert_eq!((&last["event"], &last["code"]), (&"finished".into(), &3.into()), "{log}");
}

#[test]
fn early_errors_are_one_object_for_programs() {
    let home = Home::new();
    let bare = |args: &[&str]| crate::home::Running::new(&mut home.bare(args)).finish();
    for (code, args, words) in [
        (2, &["captur", "--json"][..], "captur"),
        (2, &["--json", "capture", "--passes", "1"], "--passes"),
        (2, &["bench", "TG-9", "--pty", "--json"], "TG-9"),
        (2, &["bench", "--tcp", "here", "--json"], "HOST:PORT"),
        (2, &["shelf", "show", "0417-001", "--json"], "0417-001"),
        (2, &["sheet", "check", "none.toml", "--json"], "none.toml"),
        (2, &["capture", "--port", "tcp:", "--json"], "HOST:PORT"),
        (2, &["capture", "--log", "none/job.log", "--json"], "none/job.log"),
    ] {
        let ran = bare(args).says(code, &[]);
        let [object] = &ran.events()[..] else { panic!("one object: {ran}") };
        assert_eq!(object["code"], code, "{ran}");
        assert!(object["text"].as_str().unwrap().contains(words), "{ran}");
        assert!(!ran.err.is_empty(), "people are told too: {ran}");
    }
}

#[test]
fn what_would_act_on_a_terminal_is_shown_instead() {
    let home = Home::new();
    let note = "a\u{1b}[2J\u{9b}\r\nRAIL OFF - safe to move";
    home.run(&["capture", "--space", "records", "--note", note]).says(0, &[]);
    home.run(&["shelf", "note", "@last", note]).says(0, &[]);
    let file = "x\u{1b}]0;y.toml";
    for args in [
        &["shelf", "show", "@last"][..],
        &["shelf", "show", "@last", "--json"],
        &["shelf", "list"],
        &["shelf", "list", "--json"],
        &["shelf", "show", "TG-7 #0417"],
        &["capture", "--sheet", file],
        &["capture", "--specimen", "TG-7 #\u{1b}c"],
        &["capture", file],
        &["verify", file, "--json"],
    ] {
        let ran = home.run(args);
        let acts = |c: char| c.is_control() && c != '\n';
        assert!(!ran.all().contains(acts), "{args:?}: {:?}", ran.all());
        let mut lines = ran.out.lines();
        assert!(!lines.any(|line| line.starts_with("RAIL OFF")), "{args:?}: {ran}");
    }
    home.run(&["capture", "--specimen", "TG-7 #\u{1b}c"]).says(2, &["is no label"]);
    home.run(&["shelf", "show", "@last"]).says(0, &["\\u{1b}[2J"]);
}
