//! Signals, hang-ups, and terminals that are none.

use crate::home::{DEADLINE, Home};
use crate::terminal::{Terminal, bench};
use rustix::process::Signal;
use std::time::{Duration, Instant};

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
    let text = second.shows("A job elsewhere");
    assert!(text.contains("capture of PT #0001"), "{text}");
    second.types("s");
    let (code, _) = terminal.end();
    assert_eq!(code, Some(130), "stopped, and the safe state confirmed");
    second.shows("It has come to its end");
    second.types("\r");
    second.shows("while nobody watched");
    second.shows("stopped on request");
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
fn a_terminal_that_takes_nothing_slows_no_transfer() {
    let home = Home::new();
    let mut terminal = capturing(&home, 2);
    terminal.stall(true);
    // Far more than fits between the two.
    terminal.types(&"1\u{c}".repeat(100));
    let record = home.shelf().join("captures/0001-001/record.toml");
    let until = Instant::now() + DEADLINE;
    while !record.exists() {
        assert!(Instant::now() < until, "the capture did not come to its end");
        std::thread::sleep(Duration::from_millis(20));
    }
    terminal.stall(false);
    terminal.shows("agreed, kept as");
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn without_a_terminal_commands_are_named() {
    let home = Home::new();
    let ran = home.run(&[]).says(2, &["needs a terminal", "capture --out copy.bin"]);
    assert!(ran.out.is_empty(), "{ran}");
    let mut dumb = Terminal::with(&home, SIZE, &[], &[("TERM", "dumb")]);
    let (code, text) = dumb.end();
    assert_eq!(code, Some(2));
    assert!(text.contains("needs a terminal"), "{text}");
    let (code, text) = Terminal::new(&home, SIZE, &["--theme", "no-such"]).end();
    assert_eq!(code, Some(2));
    assert!(text.contains("built in are dark, light, contrast, clear, mono"), "{text}");
}

#[test]
fn no_colour_is_written_where_none_is_wanted_and_no_unicode_without_its_locale() {
    let home = Home::new();
    let port = bench(&home, 1, "instant");
    let written = |args: &[&str], more: &[(&str, &str)]| {
        let args = [&["--port", port], args].concat();
        let mut terminal = Terminal::with(&home, SIZE, &args, more);
        terminal.shows("PT #0001");
        terminal.types("q");
        assert_eq!(terminal.end().0, Some(0));
        String::from_utf8_lossy(&terminal.raw()).into_owned()
    };
    let coloured = |raw: &str| raw.contains("\u{1b}[38;") || raw.contains("\u{1b}[48;");
    assert!(coloured(&written(&[], &[("NO_COLOR", "")])), "an empty one counts as unset");
    assert!(!coloured(&written(&["--mono"], &[])));
    assert!(!coloured(&written(&[], &[("NO_COLOR", "1")])));
    let plain = written(&[], &[("LC_ALL", "C")]);
    assert!(plain.is_ascii() && plain.contains('_'), "the map's sign of what was not read");
}
