//! A terminal that takes nothing any more, and a workbench that is suspended.

use crate::home::{Home, wait_for_end};
use crate::terminal::{Terminal, bench};
use rustix::process::Signal;

const SIZE: (u16, u16) = (80, 24);
const SAFE: &str = "RAIL OFF - safe to move the module";

/// What the status file says of the last job.
fn status(home: &Home) -> String {
    let folder = home.known().parent().unwrap().join("running");
    String::from_utf8(std::fs::read(folder.join("sim-bench-toml.toml")).unwrap()).unwrap()
}

#[test]
fn a_signal_ends_a_workbench_whose_terminal_takes_nothing() {
    for (signal, code) in [(Signal::TERM, 143), (Signal::INT, 130)] {
        let home = Home::new();
        let port = bench(&home, 60, "real");
        let mut terminal = Terminal::new(&home, SIZE, &["--port", port]);
        terminal.shows("PT #0001");
        terminal.types("k\r");
        terminal.wait("a transfer", |text| text.contains("pass 1, words"));
        terminal.stall(true);
        // Far more than fits between the two.
        terminal.types(&"1\u{c}".repeat(100));
        terminal.signal(signal);
        let ended = wait_for_end(&mut terminal.child, "the workbench");
        assert_eq!(ended.code(), Some(code));
        terminal.stall(false);
        terminal.end();
        assert!(!terminal.is_taken(), "the screen was given back past what was never taken");
        let status = status(&home);
        assert!(status.contains("stopped on request"), "{status}");
        assert_eq!(home.captures(), 0);
    }
}

#[test]
fn suspended_it_gives_the_terminal_back_and_paints_it_anew() {
    let home = Home::new();
    let port = bench(&home, 60, "real");
    let script = "\"$0\" --port \"$1\" --shelf shelf; echo the shell has it; read go; fg";
    let mut terminal = Terminal::shell(&home, SIZE, script, port);
    terminal.shows(SAFE);
    terminal.types("4lines ?\r");
    terminal.shows("control");
    terminal.types("\u{1a}");
    terminal.shows("the shell has it");
    assert!(!terminal.is_taken());
    terminal.types("\r");
    let text = terminal.shows("control");
    assert!(terminal.is_taken() && text.contains(SAFE), "painted whole: {text}");
    // Not while a job runs: a stopped process cannot take the rail off.
    terminal.types("\tk\r");
    terminal.wait("a transfer", |text| text.contains("RAIL ON"));
    terminal.types("\u{1a}");
    let text = terminal.shows("not while a job runs or the rail is on");
    assert!(terminal.is_taken() && text.contains("RAIL ON"), "{text}");
    terminal.types("\u{3}");
    terminal.shows("are kept");
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn without_a_shell_to_go_back_to_it_stays() {
    let home = Home::new();
    let mut terminal = Terminal::new(&home, SIZE, &["--port", bench(&home, 1, "instant")]);
    terminal.shows(SAFE);
    terminal.types("\u{1a}");
    terminal.shows("no shell is there to go back to");
    assert!(terminal.is_taken());
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}
