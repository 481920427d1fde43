//! The real binary as a child: its processor time, its memory, its pass one.

use super::relay;
use super::virtual_time::Scenario;
use buswright::app::{Event, serve_tcp};
use buswright::bus::Baud;
use buswright::link::{Cancel, RatePlan};
use buswright::sim::{Bench, BenchDescription};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What was seen of one capture.
pub struct Seen {
    pub pass_one_s: f64,
    pub simulated_s: f64,
    pub cpu_percent: f64,
    pub wall_s: f64,
    pub peak_mib: f64,
}

/// A capture of `bytes` of noise over a pty whose relay lets 1 Mbaud through.
pub fn capture_over_relay(bytes: usize, noise: &[u8]) -> Seen {
    let folder = tempfile::tempdir().expect("a folder");
    let sheet = write_sheet(folder.path(), bytes / 4);
    let simulated_s = simulated(&bench_text(&sheet, bytes / 4, "pace = \"real\""), noise);
    // The same in real time: an adapter without costs behind a relay of our own.
    let address = serve(bench_text(&sheet, bytes / 4, "pace = \"instant\""), noise.to_vec());
    let relay = relay::start(&address);
    let seen = run(&sheet, folder.path(), &format!("{}@1000000", relay.name));
    Seen { simulated_s, ..seen }
}

/// Pass one over the simulated line, by the simulated clock.
fn simulated(text: &str, noise: &[u8]) -> f64 {
    let mut description = BenchDescription::parse("bench", text).expect("a good bench");
    description.set_contents("store", noise.to_vec()).expect("it fits");
    let shelf = tempfile::tempdir().expect("a folder");
    let mut scenario = Scenario::of(description, shelf.path());
    scenario.plan = RatePlan { fixed: Some(Baud(1_000_000)), ..RatePlan::default() };
    let run = scenario.run();
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let pass = |n| run.time_of(|e| matches!(e, Event::Pass { number, .. } if *number == n));
    let (one, two) = (pass(1).expect("pass one"), pass(2).expect("pass two"));
    two.since(one).as_secs_f64()
}

fn serve(text: String, noise: Vec<u8>) -> String {
    let (give, take) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut description = BenchDescription::parse("bench", &text).expect("a good bench");
        description.set_contents("store", noise).expect("it fits");
        let bench = Bench::new(&description, 1);
        let ready =
            |name: &str| give.send(name.trim_start_matches("tcp:").to_string()).expect("heard");
        serve_tcp(bench, "127.0.0.1:0", &Cancel::default(), ready).expect("served");
    });
    take.recv_timeout(Duration::from_secs(10)).expect("an address")
}

fn run(sheet: &Path, folder: &Path, port: &str) -> Seen {
    let log = folder.join("log");
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_buswright"))
        .args(["capture", "--quiet", "--specimen", "LINE #1", "--port", port])
        .arg("--sheet")
        .arg(sheet)
        .arg("--shelf")
        .arg(folder.join("shelf"))
        .arg("--log")
        .arg(&log)
        .env("XDG_DATA_HOME", folder.join("data"))
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("the program");
    let (mut cpu, mut peak) = (0.0, 0.0);
    // The last look before the end misses at most 20 ms of it.
    while child.try_wait().expect("a state").is_none() {
        if let Some((ticks, mib)) = look(child.id()) {
            (cpu, peak) = (ticks, mib);
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let wall_s = start.elapsed().as_secs_f64();
    assert!(child.wait().expect("an end").success(), "the capture is good");
    let pass_one_s = pass_one(&fs::read_to_string(log).expect("a log"));
    let cpu_percent = cpu / wall_s * 100.0;
    Seen { pass_one_s, simulated_s: 0.0, cpu_percent, wall_s, peak_mib: peak }
}

/// Processor seconds and peak resident MiB of a process, threads included.
fn look(pid: u32) -> Option<(f64, f64)> {
    let mut nanos = 0;
    for task in fs::read_dir(format!("/proc/{pid}/task")).ok()?.flatten() {
        let text = fs::read_to_string(task.path().join("schedstat")).ok()?;
        nanos += text.split_whitespace().next()?.parse::<u64>().ok()?;
    }
    let status = fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some((nanos as f64 / 1e9, kib / 1024.0))
}

/// Seconds between the first two passes of a log, by its time stamps.
fn pass_one(log: &str) -> f64 {
    let events = log.lines().map(|line| {
        serde_json::from_str::<serde_json::Value>(line).expect("every line is a JSON object")
    });
    let mut at = events.filter(|event| event["event"] == "pass").map(|event| {
        let stamp: jiff::Timestamp = event["time"].as_str().expect("a stamp").parse().expect("UTC");
        stamp.as_millisecond() as f64 / 1e3
    });
    let (one, two) = (at.next().expect("pass one"), at.next().expect("pass two"));
    two - one
}

fn write_sheet(folder: &Path, words: usize) -> std::path::PathBuf {
    let path = folder.join("line.toml");
    let text = format!(
        "format = 1\nname = \"LINE\"\ntitle = \"host benchmark\"\nrail_mv = 3300\n\
         address_lines = 22\n[[space]]\nname = \"store\"\nkind = \"flash\"\nwidth = 32\n\
         words = {words}\nselect = {{ CS0 = \"low\" }}\ntiming = {{ access_ns = 150 }}\n"
    );
    fs::write(&path, text).expect("a file");
    path
}

fn bench_text(sheet: &Path, words: usize, pace: &str) -> String {
    format!(
        "format = 1\nsheet = \"{}\"\nspecimen = \"LINE #1\"\n\
         [adapter]\nreset_rate = 1_000_000\nrates = [1_000_000]\n\
         [line]\nfastest = 1_000_000\n{pace}\n\
         [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\nbase = 0\nwords = {words}\n\
         select = {{ CS0 = \"low\" }}\naccess_ns = 150\nfill = \"file\"\nfile = \"noise\"\n",
        sheet.display()
    )
}
