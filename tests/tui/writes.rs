//! Plan, confirm, write; stopped, hung up, killed, and gone on with.

use crate::home::{Home, Running, Stream};
use crate::terminal::Terminal;
use rustix::process::Signal;
use std::fs;

const SIZE: (u16, u16) = (80, 24);
const SAFE: &str = "RAIL OFF - safe to move the module";
const LABEL: &str = "PT #0001";
/// Of the small chip, 10 sectors.
const BYTES: usize = 0x1_0000;

/// A bench with one small flash chip, and its sheet. At a real pace each sector takes a second.
fn bench(home: &Home, pace: &str) {
    let spaces = "[[KIND]]\nname = \"store\"\nkind = \"flash\"\nwidth = 16\nwords = 0x8000\n\
        select = { CS0 = \"low\" }\nSTORE\n\
        [[KIND]]\nname = \"records\"\nkind = \"ram\"\nwidth = 16\nwords = 0x400\n\
        select = { CS1 = \"low\" }\n";
    let of = |kind: &str, store: &str| spaces.replace("KIND", kind).replace("STORE", store);
    let chips = "family = \"amd\"\nchips = [{ ref = \"U1\", lane = \"D0-D15\" }]";
    home.write(
        "small.toml",
        format!(
            "format = 1\nname = \"PT\"\nrail_mv = 3300\naddress_lines = 20\n{}",
            of("space", chips)
        ),
    );
    home.write(
        "bench.toml",
        format!(
            "format = 1\nsheet = \"small.toml\"\nspecimen = \"{LABEL}\"\n[line]\npace = \"{pace}\"\n{}",
            of("memory", "access_ns = 100\nchips = [\"SMALL-A\"]")
        ),
    );
    let image: Vec<u8> = (0..BYTES).map(|n| (n * 7 % 251) as u8).collect();
    home.write("new.bin", image);
}

fn connected(home: &Home, port: &[&str]) -> Terminal {
    let terminal = Terminal::new(home, SIZE, port);
    terminal.shows(LABEL);
    terminal.shows(SAFE);
    terminal
}

/// Plans `new.bin` for the store, and leaves the review open.
fn planned(terminal: &Terminal) {
    terminal.types("n");
    terminal.shows("Image to plan");
    terminal.types("new.bin");
    terminal.types("\r");
    terminal.shows("Plan: new.bin");
    terminal.types("\u{1b}[C");
    terminal.shows("space store");
    terminal.types("\r");
    terminal.shows("Before the rail goes on");
    terminal.types("\r");
    terminal.shows("w write, asks once more");
}

/// Types a label by hand, and Enter once it is there.
fn labelled(terminal: &Terminal, label: &str) {
    terminal.shows("Read the label on the module itself");
    terminal.by_hand("label ", label);
    terminal.types("\r");
}

fn confirmed(terminal: &Terminal) {
    terminal.types("w");
    labelled(terminal, LABEL);
}

/// Closes the dialog that tells how it ended.
fn closed(terminal: &Terminal) {
    terminal.types("\r");
    terminal.wait("the panes", |text| !text.contains("is on the module"));
}

fn histories(home: &Home) -> String {
    let folder = home.shelf().join("histories");
    fs::read_to_string(folder.join("0001_pt.jsonl")).unwrap()
}

#[test]
fn planned_confirmed_written_proven_and_asked_for() {
    let home = Home::new();
    bench(&home, "instant");
    let mut terminal = connected(&home, &["--port", "sim:bench.toml"]);
    planned(&terminal);
    let text = terminal.shows("Plan");
    assert!(text.contains("aim") && text.contains("way back") && text.contains(SAFE), "{text}");
    terminal.types("w");
    labelled(&terminal, "PT #0002");
    terminal.shows("is it the right module?");
    // What is pasted was not read from the module.
    terminal.types("\u{15}\u{1b}[200~PT #0001\u{1b}[201~");
    terminal.shows("a paste is not taken: type it");
    // The same from a terminal that does not mark a paste, with its Enter and without.
    for paste in [&format!("{LABEL}\r"), LABEL] {
        terminal.types("7");
        terminal.wait("a key", |text| !text.contains("a paste is not taken"));
        terminal.types("\u{8}");
        terminal.wait("no label", |text| text.lines().any(|line| line.trim() == "label"));
        terminal.types(paste);
        terminal.shows("a paste is not taken: type it");
    }
    terminal.types("\u{15}");
    terminal.wait("a key", |text| !text.contains("a paste is not taken"));
    labelled(&terminal, LABEL);
    let text = terminal.shows("is on the module");
    assert!(text.contains(SAFE) && text.contains("holds what plan"), "{text}");
    closed(&terminal);
    terminal.wait("a map that is verified", |text| {
        text.contains("██████████") && text.contains("█ verified")
    });
    terminal.types("c");
    terminal.shows("none, c connects");
    terminal.types("c");
    terminal.shows("Did the instrument start?");
    terminal.types("\u{1b}[B\r");
    terminal.shows("the instrument started: yes");
    assert!(histories(&home).contains("\"started\""));
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn a_write_is_stopped_between_sectors_and_gone_on_with() {
    let home = Home::new();
    bench(&home, "real");
    let mut terminal = connected(&home, &["--port", "sim:bench.toml"]);
    planned(&terminal);
    confirmed(&terminal);
    terminal.wait("a sector that is written", |text| {
        text.contains("writing, 2 of 10") && text.contains("WRITES ALLOWED")
    });
    terminal.types("?\u{3}");
    let text = terminal.shows("w goes on with it");
    assert!(text.contains(SAFE) && text.contains("WRITES LOCKED"), "{text}");
    assert!(text.contains("of 10 sectors of store are written"), "{text}");
    terminal.types("w");
    let text = terminal.shows("A write is not finished");
    assert!(!text.contains("broken off"), "a stop leaves no sector half written: {text}");
    terminal.types("\r");
    terminal.shows("Go on with plan");
    labelled(&terminal, LABEL);
    terminal.shows("is on the module");
    closed(&terminal);
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn who_leaves_a_write_is_told_what_is_not_finished() {
    let home = Home::new();
    bench(&home, "real");
    let mut terminal = connected(&home, &["--port", "sim:bench.toml"]);
    planned(&terminal);
    confirmed(&terminal);
    terminal.wait("a sector that is written", |text| text.contains("writing, 2 of 10"));
    terminal.types("q");
    terminal.shows("End the workbench");
    terminal.types("\r");
    let (code, text) = terminal.end();
    assert_eq!(code, Some(0));
    // The bench is a part of this program.
    for words in
        [SAFE, "the write of PT #0001 (plan", "is not finished", "nothing is left to go on"]
    {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(text.contains("of 10 sectors"), "{text}");
}

#[test]
fn a_hang_up_in_a_write_finishes_it() {
    let home = Home::new();
    bench(&home, "real");
    let mut terminal = connected(&home, &["--port", "sim:bench.toml"]);
    planned(&terminal);
    confirmed(&terminal);
    terminal.wait("a sector that is written", |text| text.contains("writing, 2 of 10"));
    terminal.hang_up();
    let (code, _) = terminal.end();
    assert_eq!(code, Some(0), "the write's own exit code");
    assert!(histories(&home).contains("\"written\""), "{}", histories(&home));
    let next = Terminal::new(&home, SIZE, &["--port", "sim:bench.toml"]);
    next.shows("Did the instrument start?");
    next.types("\u{1b}");
    let text = next.shows("while nobody watched, write of PT #0001 came to its end");
    assert!(text.contains("holds what plan"), "{text}");
}

#[test]
fn a_killed_write_is_offered_at_the_next_start_and_finished() {
    let home = Home::new();
    bench(&home, "real");
    let serve = ["bench", "bench.toml", "--tcp", "127.0.0.1:0"];
    let served = Running::new(&mut home.bare(&serve));
    let port = served.wait_for(Stream::Out, "");
    let args = ["--port", &port, "--sheet", "small.toml", "--specimen", LABEL];
    let mut terminal = connected(&home, &args);
    planned(&terminal);
    confirmed(&terminal);
    terminal.wait("a sector that is written", |text| text.contains("writing, 3 of 10"));
    terminal.signal(Signal::KILL);
    terminal.end();
    let mut next = Terminal::new(&home, SIZE, &args);
    let text = next.shows("A write is not finished");
    assert!(
        text.contains("of 10 sectors are written") && text.contains("go on with plan"),
        "{text}"
    );
    next.types("\r");
    next.shows("Go on with plan");
    labelled(&next, LABEL);
    next.shows("Before the rail goes on");
    next.types("\r");
    next.shows("is on the module");
    closed(&next);
    next.types("q");
    assert_eq!(next.end().0, Some(0));
    let mut verify = args.to_vec();
    verify.extend(["verify", "new.bin", "--space", "store"]);
    home.run(&verify).says(0, &["equals"]);
}
