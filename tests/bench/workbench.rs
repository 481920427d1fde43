//! What the workbench costs on a terminal, in real time: `cargo bench --bench workbench`.
//!
//! The release program runs on a pseudo-terminal of 120x40; the bench is a process of its own on
//! another one (`buswright bench`), so every share of a core is that of the host alone. Bytes are
//! exact, times are of this machine. The whole takes about two minutes.

#![allow(clippy::expect_used, reason = "a benchmark ends where its set-up fails")]

#[path = "workbench/adapter.rs"]
mod adapter;
#[path = "workbench/look.rs"]
mod look;
#[path = "workbench/rows.rs"]
mod rows;
#[path = "workbench/screen.rs"]
mod screen;

use adapter::Adapter;
use look::Look;
use rows::{Rows, percentile};
use screen::Screen;
use std::time::{Duration, Instant};

const SIZE: (u16, u16) = (120, 40);
/// How long something is looked at.
const WHILE: Duration = Duration::from_secs(10);
/// Keys for a percentile.
const KEYS: usize = 200;
const CONNECTED: &str = "TG-7 #0417";
const RATE: &str = "1000000 baud";

fn main() {
    let rows = &mut Rows::default();
    let program = env!("CARGO_BIN_EXE_buswright");
    let size = std::fs::metadata(program).expect("the program").len();
    println!("Workbench on a pty, bench in a process of its own at 1 Mbaud, 120x40:\n");
    println!("| what | measured | goal | |\n|---|---|---|---|");
    let mib = |bytes: u64| bytes as f64 / f64::from(1 << 20);
    rows.below("program file", mib(size), 5.0, &format!("{:.2} MiB", mib(size)), "5 MiB");
    first_paint(rows);
    let adapter = Adapter::start();
    let mut screen = Screen::open(SIZE, &["--port", &adapter.port]);
    screen.shows(CONNECTED);
    screen.shows(RATE);
    screen.quiet(Duration::from_secs(1));
    idle(rows, &screen);
    let waits = key_to_paint(&screen);
    keys(rows, "key to paint, idle", &waits);
    capturing(rows, &mut screen);
    drop(screen);
    drop(adapter);
    hung_up(rows);
    println!("\n{}", rows.summary());
}

/// From the start of the process to a screen with its status line.
fn first_paint(rows: &mut Rows) {
    let mut times = Vec::new();
    let mut bytes = 0;
    for _ in 0..9 {
        let start = Instant::now();
        let screen = Screen::open((80, 24), &[]);
        screen.shows("NOT CONNECTED");
        times.push(start.elapsed().as_secs_f64() * 1e3);
        screen.quiet(Duration::from_millis(100));
        bytes = bytes.max(screen.bytes());
    }
    let median = percentile(&times, 50);
    rows.below(
        "first paint, 80x24, median of 9",
        median,
        50.0,
        &format!("{median:.0} ms"),
        "50 ms",
    );
    rows.below("bytes of it", bytes as f64, 6_000.0, &format!("{bytes}"), "6,000");
}

fn idle(rows: &mut Rows, screen: &Screen) {
    let (before, bytes) = (Look::at(screen.pid()), screen.bytes());
    std::thread::sleep(WHILE);
    let (after, bytes) = (Look::at(screen.pid()), screen.bytes() - bytes);
    let seconds = WHILE.as_secs();
    let said = format!("{bytes} in {seconds} s");
    rows.below("connected and idle: bytes to the terminal", bytes as f64, 0.0, &said, "0");
    let woken = after.terminal_wakes - before.terminal_wakes;
    let said = format!("{woken} in {seconds} s");
    rows.below("wake-ups of the terminal thread (the first one)", woken as f64, 0.0, &said, "0");
    let woken = after.wakes - before.wakes;
    rows.told("wake-ups of all threads", &format!("{woken} in {seconds} s"));
    let share = after.share(&before);
    rows.below("share of a core, idle", share, 0.3, &format!("{share:.2} %"), "0.3 %");
    let resident = after.resident_mib;
    rows.below("resident, idle", resident, 12.0, &format!("{resident:.1} MiB"), "12 MiB");
}

/// Milliseconds from a key to the first byte that comes after it.
fn key_to_paint(screen: &Screen) -> Vec<f64> {
    let mut random = fastrand::Rng::with_seed(5);
    let mut waits = Vec::new();
    for _ in 0..KEYS {
        std::thread::sleep(Duration::from_millis(random.u64(15..45)));
        waits.push(screen.press("\t").as_secs_f64() * 1e3);
        // In the console Tab with an empty line goes on as everywhere.
    }
    waits
}

fn keys(rows: &mut Rows, what: &str, waits: &[f64]) {
    let (p50, p95, most) = (percentile(waits, 50), percentile(waits, 95), percentile(waits, 100));
    let said = format!("{p50:.1}, {p95:.1} ms (worst {most:.1})");
    let good = p50 <= 5.0 && p95 <= 20.0;
    rows.row(&format!("{what}: p50, p95 of {KEYS}"), &said, "5, 20 ms", Some(good));
}

fn capturing(rows: &mut Rows, screen: &mut Screen) {
    screen.press("1");
    screen.press("k");
    screen.shows("Before the rail goes on");
    screen.press("\r");
    screen.shows("pass 1, words");
    std::thread::sleep(Duration::from_secs(1));
    let (before, from) = (Look::at(screen.pid()), Instant::now());
    std::thread::sleep(WHILE);
    let after = Look::at(screen.pid());
    let flow = screen.flow(from, WHILE);
    let said = format!("{:.0}, {}", flow.mean, flow.worst_second);
    let good = flow.mean <= 1_000.0 && flow.worst_second <= 2_000;
    let what = "capture: bytes a second to the terminal, mean and worst second";
    rows.row(what, &said, "1,000, 2,000", Some(good));
    rows.below("frames a second", flow.frames, 5.0, &format!("{:.1}", flow.frames), "5");
    let share = after.share(&before);
    rows.told("share of a core while capturing, screen included", &format!("{share:.2} %"));
    let terminal = after.terminal_share(&before);
    rows.below("of it the terminal thread", terminal, 0.5, &format!("{terminal:.2} %"), "0.5 %");
    let waits = key_to_paint(screen);
    keys(rows, "key to paint while capturing", &waits);
    rows.told("peak memory so far", &format!("{:.1} MiB", Look::at(screen.pid()).peak_mib));
    screen.press("\u{3}");
    screen.shows("are kept");
}

/// The terminal goes away in the middle of a capture.
fn hung_up(rows: &mut Rows) {
    let adapter = Adapter::start();
    let mut screen = Screen::open(SIZE, &["--port", &adapter.port]);
    screen.shows(CONNECTED);
    screen.press("k");
    screen.shows("Before the rail goes on");
    screen.press("\r");
    screen.shows("pass 1, words");
    screen.hang_up();
    std::thread::sleep(Duration::from_secs(1));
    let before = Look::at(screen.pid());
    std::thread::sleep(WHILE);
    let after = Look::at(screen.pid());
    let share = after.share(&before);
    rows.below(
        "after a hang-up, the capture going on",
        share,
        1.0,
        &format!("{share:.2} % of a core"),
        "1 %",
    );
    let woken = (after.wakes - before.wakes) / WHILE.as_secs();
    rows.told("wake-ups a second of all threads meanwhile", &format!("{woken}"));
    let code = screen.end();
    let good = code == Some(0) && screen.captures() == 1;
    let said = if good { "kept, the process ended" } else { "not kept" };
    rows.row("the capture's own end", said, "kept", Some(good));
}
