//! Signals, hang-ups, and terminals that are none.

use crate::home::{Home, Running};
use crate::terminal::{Terminal, bench};
use rustix::process::Signal;
use std::process::Command;

const SIZE: (u16, u16) = (80, 24);
const SAFE: &str = "RAIL OFF - safe to move the module";

fn capturing(home: &Home, blocks: usize) -> Terminal {
    let port = bench(home, blocks, "real");
    let terminal = Terminal::new(home, SIZE, &["--port", port]);
    terminal.shows("PT #0001");
    terminal.types("k\r");
    terminal.wait("a transfer", |text| text.contains("pass 1, words") && text.contains("RAIL ON"));
    terminal
}

#[test]
fn a_hang_up_finishes_the_capture_and_the_next_start_tells() {
    let home = Home::new();
    let mut terminal = capturing(&home, 2);
    terminal.hang_up();
    let (code, _) = terminal.end();
    assert_eq!(code, Some(0), "the capture's own exit code");
    assert_eq!(home.captures(), 1);
    let next = Terminal::new(&home, SIZE, &["--port", "sim:bench.toml"]);
    let text = next.shows("while nobody watched");
    assert!(text.contains("agreed"), "{text}");
}

#[test]
fn a_second_start_meets_a_capture_without_a_screen_and_stops_it_safely() {
    let home = Home::new();
    let mut terminal = capturing(&home, 60);
    terminal.hang_up();
    let second = Terminal::new(&home, SIZE, &["--port", "sim:bench.toml"]);
    let text = second.shows("A job without a screen");
    assert!(text.contains("capture of PT #0001") && text.contains("pass 1"), "{text}");
    second.types("s");
    let (code, _) = terminal.end();
    assert_eq!(code, Some(130), "stopped, and the safe state confirmed");
    second.shows("It has come to its end");
    second.types("\r");
    second.wait("how it ended", |text| {
        text.contains("while nobody watched") && text.contains("stopped on request")
    });
}

#[test]
fn signals_reach_the_safe_state_and_give_the_terminal_back() {
    for (signal, code) in [(Signal::TERM, 143), (Signal::INT, 130)] {
        let home = Home::new();
        let mut terminal = capturing(&home, 60);
        terminal.signal(signal);
        let (got, text) = terminal.end();
        assert_eq!(got, Some(code), "{text}");
        assert!(!terminal.is_taken() && text.contains(SAFE), "{text}");
    }
}

#[test]
fn without_a_terminal_commands_are_named() {
    let home = Home::new();
    let ran = home.run(&[]).says(2, &["needs a terminal", "capture --out copy.bin"]);
    assert!(ran.out.is_empty(), "{ran}");
    let mut dumb = Command::new("setsid");
    dumb.arg("--ctty").arg(env!("CARGO_BIN_EXE_buswright")).env("TERM", "dumb");
    Running::new(&mut dumb).finish().says(2, &["needs a terminal"]);
    home.run(&["--theme", "no-such"]).says(2, &["needs a terminal"]);
}

#[test]
fn no_colour_is_written_where_none_is_wanted_and_no_unicode_without_its_locale() {
    let home = Home::new();
    let port = bench(&home, 1, "instant");
    let mut plain = Terminal::new(&home, SIZE, &["--port", port, "--mono"]);
    plain.shows("PT #0001");
    plain.types("q");
    plain.end();
    let raw = String::from_utf8_lossy(&plain.raw()).into_owned();
    for colour in ["\u{1b}[38;", "\u{1b}[48;", "\u{1b}[31m", "\u{1b}[36m"] {
        assert!(!raw.contains(colour), "{colour:?}");
    }
}
