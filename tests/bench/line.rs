//! Shares of the line, on simulated time: `cargo bench --bench line`.
//!
//! Every row is a whole capture job over the simulated adapter, which is charged the processor
//! cycles of the kit (`tests/kit_costs.rs`); nothing here depends on the speed of this computer.

#![allow(clippy::expect_used, reason = "a benchmark ends where its set-up fails")]

#[path = "../support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{CaptureOptions, Event, IdentifyOptions, Job};
use buswright::bus::{Baud, Nanos};
use buswright::link::RatePlan;
use buswright::sim::BenchDescription;
use virtual_time::{Run, Scenario};

const MIB: u64 = 1 << 20;

fn bench(width: u32, rate: u32, more_line: &str, faults: &str) -> BenchDescription {
    let words = 4 * MIB * 8 / u64::from(width);
    // An AVR of 16 MHz makes no 3 Mbaud; those rows use a clock of 24 MHz.
    let clock = if rate > 2_000_000 { 24_000_000 } else { 16_000_000 };
    let sheet = sheet(width, words);
    let text = format!(
        r#"
format = 1
sheet = "{}"
specimen = "LINE #{width}"
[adapter]
clock_hz = {clock}
reset_rate = {rate}
rates = [{rate}]
[line]
fastest = {rate}
{more_line}
{faults}
[[memory]]
kind = "flash"
name = "store"
width = {width}
base = 0
words = {words}
select = {{ CS0 = "low" }}
access_ns = 150
fill = "file"
file = "noise"
"#,
        sheet.display(),
    );
    let mut description = BenchDescription::parse("bench", &text).expect("a good bench");
    let mut noise = vec![0; 4 * MIB as usize];
    fastrand::Rng::with_seed(7).fill(&mut noise);
    description.set_contents("store", noise).expect("it fits");
    description
}

fn sheet(width: u32, words: u64) -> std::path::PathBuf {
    let path =
        std::env::temp_dir().join(format!("buswright-line-{}-{width}.toml", std::process::id()));
    let text = format!(
        "format = 1\nname = \"LINE\"\ntitle = \"line benchmark\"\nrail_mv = 3300\n\
         address_lines = 22\n[[space]]\nname = \"store\"\nkind = \"flash\"\nwidth = {width}\n\
         words = {words}\nselect = {{ CS0 = \"low\" }}\ntiming = {{ access_ns = 150 }}\n"
    );
    std::fs::write(&path, text).expect("a temporary file");
    path
}

struct Times {
    pass_one: Nanos,
    both: Nanos,
    again: u64,
}

fn measure(description: &BenchDescription, rate: u32) -> Times {
    let shelf = tempfile::tempdir().expect("a temporary folder");
    let mut scenario = Scenario::of(description.clone(), shelf.path());
    scenario.job = Job::Capture(CaptureOptions::default());
    scenario.plan = RatePlan { fixed: Some(Baud(rate)), ..RatePlan::default() };
    let run = scenario.run();
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    check_bytes(&run, description, shelf.path());
    let pass = |n| run.time_of(|e| matches!(e, Event::Pass { number, .. } if *number == n));
    let off = run.time_of(|e| matches!(e, Event::Rail { on: false, .. }));
    let (Some(one), Some(two), Some(off)) = (pass(1), pass(2), off) else { panic!("no passes") };
    let stats = &run.outcome.report.as_ref().expect("a report")["link_stats"];
    let again = stats["repeats"].as_u64().expect("a count");
    // Switching the rail off takes its own time after pass two; the last block tells its end.
    let last = run.events.iter().rev().find(|(_, e)| matches!(e, Event::Block { .. }));
    let end = last.map_or(off, |(at, _)| *at);
    Times { pass_one: two.since(one), both: end.since(one), again }
}

fn check_bytes(run: &Run, description: &BenchDescription, shelf: &std::path::Path) {
    let id =
        run.outcome.report.as_ref().expect("a report")["id"].as_str().expect("an id").to_string();
    let copy = std::fs::read(shelf.join("captures").join(id).join("content.bin")).expect("a copy");
    let mut noise = vec![0; 4 * MIB as usize];
    fastrand::Rng::with_seed(7).fill(&mut noise);
    assert!(copy == noise, "the copy of {} differs", description.sheet);
}

fn share(times: &Times, rate: u32) -> f64 {
    Baud(rate).time_of(4 * MIB).as_secs_f64() / times.pass_one.as_secs_f64() * 100.0
}

fn main() {
    println!("Payload share of the line: 4 MiB of noise, 32-bit words, pass one of a capture.");
    println!(
        "| baud | clock MHz | bridge 62 bytes, 16 ms | and 16 ms each way | and 1 frame in 200 damaged both ways (asked again) |"
    );
    println!("|---|---|---|---|---|");
    let far = "delay_ms = 16";
    let damage = "[faults]\nseed = 3\nrequest = { flip = 0.005 }\nreply = { flip = 0.005 }\n";
    for rate in [115_200, 250_000, 1_000_000, 3_000_000] {
        let plain = measure(&bench(32, rate, "", ""), rate);
        let delayed = measure(&bench(32, rate, far, ""), rate);
        let damaged = measure(&bench(32, rate, far, damage), rate);
        println!(
            "| {rate} | {} | {:.2} % | {:.2} % | {:.2} % ({}) |",
            if rate > 2_000_000 { 24 } else { 16 },
            share(&plain, rate),
            share(&delayed, rate),
            share(&damaged, rate),
            damaged.again
        );
    }
    println!();
    println!("Both passes of a capture of 4 MiB against pass one alone, 16 MHz.");
    println!("| baud | word | pass one s | both s | ratio |");
    println!("|---|---|---|---|---|");
    for (width, rate) in [(32, 250_000), (32, 1_000_000), (16, 250_000), (16, 1_000_000)] {
        let times = measure(&bench(width, rate, "", ""), rate);
        let (one, both) = (times.pass_one.as_secs_f64(), times.both.as_secs_f64());
        println!("| {rate} | {width} bits | {one:.1} | {both:.1} | {:.3} |", both / one);
    }
    println!();
    println!("Identification of the built-in benches, from HELLO's answer to the rail being off.");
    println!("| bench | chips | baud | ms | of these the rail's fall |");
    println!("|---|---|---|---|---|");
    for (name, rate) in [("TG-7", 115_200), ("TG-7b", 115_200), ("TG-7c", 115_200)] {
        identification(name, rate);
    }
}

fn identification(name: &str, rate: u32) {
    let shelf = tempfile::tempdir().expect("a temporary folder");
    let mut scenario = Scenario::capture(name, shelf.path());
    scenario.job = Job::Identify(IdentifyOptions::default());
    scenario.plan = RatePlan { fixed: Some(Baud(rate)), ..RatePlan::default() };
    let run = scenario.run();
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let time = |wanted: fn(&Event) -> bool| run.time_of(wanted).expect("it was told");
    let from = time(|event| matches!(event, Event::Connected { .. }));
    let off = time(|event| matches!(event, Event::Rail { on: false, .. }));
    let report = run.outcome.report.as_ref().expect("a report");
    let chips = report["spaces"][0]["chips"].as_array().expect("chips").len();
    let fall = scenario.description.adapter.rail.fall.as_millis();
    println!("| {name} | {chips} | {rate} | {} | {fall} |", off.since(from).as_millis());
}
