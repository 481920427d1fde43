//! Start, connect, capture, cancel, cycles by hand, and hostile input.

use crate::home::Home;
use crate::terminal::{Terminal, bench};

const SIZE: (u16, u16) = (80, 24);
const SAFE: &str = "RAIL OFF - safe to move the module";

fn connected(home: &Home, port: &str) -> Terminal {
    let terminal = Terminal::new(home, SIZE, &["--port", port]);
    let text = terminal.shows("PT #0001");
    assert!(text.contains(SAFE) && text.contains("SIMULATED BENCH"), "{text}");
    terminal
}

#[test]
fn a_capture_is_made_to_its_end_and_the_rail_is_off() {
    let home = Home::new();
    let mut terminal = connected(&home, bench(&home, 2, "instant"));
    terminal.types("k");
    terminal.shows("Before the rail goes on");
    terminal.types("\r");
    let text = terminal.shows("agreed, kept as");
    assert!(text.starts_with(&format!(" {SAFE}")), "{text}");
    assert_eq!(home.captures(), 1);
    terminal.types("v");
    terminal.shows("the module equals");
    terminal.types("q");
    let (code, text) = terminal.end();
    assert_eq!(code, Some(0), "{text}");
    assert!(!terminal.is_taken() && text.contains(SAFE), "{text}");
    let raw = String::from_utf8_lossy(&terminal.raw()).into_owned();
    assert!(raw.contains("\u{1b}[?25h") && raw.contains("\u{1b}[?2004l"), "given back whole");
}

#[test]
fn a_capture_is_stopped_from_a_dialog_and_goes_on_later() {
    let home = Home::new();
    let mut terminal = connected(&home, bench(&home, 6, "real"));
    terminal.types("k\r");
    terminal.wait("a transfer", |text| text.contains("pass 1, words") && text.contains("RAIL ON"));
    // One block is kept after 0.7 s.
    terminal.types("2");
    terminal.wait("a block", |text| text.contains('▅') && text.contains("left"));
    terminal.types("?\u{3}");
    let text = terminal.shows("are kept");
    assert!(text.contains(SAFE) && !text.contains("Keys of"), "{text}");
    terminal.types("1k");
    terminal.shows("going on with an unfinished capture");
    terminal.types("q");
    terminal.shows("End the workbench");
    terminal.types("\r");
    let (code, text) = terminal.end();
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains(SAFE), "{text}");
    assert_eq!(home.captures(), 0);
}

#[test]
fn cycles_by_hand_and_a_paste_that_runs_nothing() {
    let home = Home::new();
    let mut terminal = connected(&home, bench(&home, 1, "instant"));
    terminal.types("k\r");
    terminal.shows("agreed, kept as");
    terminal.types("4rail on\r");
    terminal.shows("RAIL ON - do not touch");
    terminal.types("rec 10 = 1234ABCD\r");
    terminal.shows("To give it, type allow and Enter");
    terminal.types("allow");
    terminal.shows("a paste is not taken: type it");
    terminal.by_hand("", "allow");
    terminal.types("\r");
    let text = terminal.shows("written, and it reads back");
    assert!(text.contains("WRITES ALLOWED"), "{text}");
    terminal.types("\u{1b}[200~rail off\r\nquit\u{1b}[A\u{7}\r\u{1b}[201~");
    let text = terminal.shows("> rail off quit");
    assert!(text.contains("RAIL ON"), "a paste runs nothing: {text}");
    // The same from a terminal that does not mark a paste.
    terminal.types("\u{15}");
    terminal.wait("an empty line", |text| !text.contains("> rail off quit"));
    terminal.types("rail off\rlines ?\r");
    let text = terminal.shows("rail off lines ?");
    assert!(text.contains("RAIL ON"), "{text}");
    terminal.types("\u{3}");
    terminal.shows(SAFE);
    terminal.types("\u{15}quit\r");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn a_key_that_comes_with_a_change_of_size_is_taken() {
    let home = Home::new();
    let mut terminal = connected(&home, bench(&home, 1, "instant"));
    for n in 0..10 {
        let (pane, size) = if n % 2 == 0 { ("2", (100, 30)) } else { ("1", (80, 24)) };
        terminal.resize(size);
        terminal.types(pane);
        let title = if n % 2 == 0 { ">Memory map" } else { ">Connection" };
        terminal.wait(title, |text| text.contains(title));
    }
    // A paste that is not marked is no row of orders.
    terminal.types("1rail on, and o for measured\r\rk\r");
    let text = terminal.shows("a paste does nothing here");
    assert!(text.contains(SAFE) && text.contains(">Connection"), "{text}");
    // Half a sequence keeps nothing waiting.
    terminal.types("\u{1b}[12");
    terminal.types("\u{3}");
    terminal.shows("nothing runs and the rail is not on");
    terminal.types("q");
    assert_eq!(terminal.end().0, Some(0));
}

#[test]
fn five_thousand_random_keys_and_a_storm_of_resizes_leave_it_alive() {
    let home = Home::new();
    let mut terminal = connected(&home, bench(&home, 1, "instant"));
    let mut random = fastrand::Rng::with_seed(11);
    let special = [
        "\r",
        "\t",
        "\u{1b}[A",
        "\u{1b}[B",
        "\u{1b}[5~",
        "\u{1b}[6~",
        "\u{7f}",
        "\u{1b}[Z",
        "\u{3}",
    ];
    for n in 0..5_000 {
        match random.usize(0..5) {
            0 => terminal.types(special[random.usize(0..special.len())]),
            // Not the end, and nothing that stops the process.
            _ => terminal.types(&random.char(' '..'~').to_string().replace('q', "k")),
        }
        if n % 25 == 0 {
            terminal.resize((random.u16(20..160), random.u16(5..60)));
        }
    }
    terminal.resize(SIZE);
    // However it stands now: escape what is open, stop what runs, and ask for the end.
    terminal.types("\u{3}");
    terminal.wait("a status line", |text| text.contains("RAIL") || text.contains("NOT CONN"));
    assert_eq!(terminal.child.try_wait().unwrap(), None, "it is still there");
    terminal.signal(rustix::process::Signal::TERM);
    let (code, text) = terminal.end();
    assert_eq!(code, Some(143), "{text}");
    // Whether the screen was given back is for calmer tests: the workbench leads its session here,
    // and at the end of a leader the system drops what a slow terminal has not read yet.
    assert!(!text.contains("panicked"), "{text}");
}
