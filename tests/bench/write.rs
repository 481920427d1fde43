//! What a write costs, on simulated time: `cargo bench --bench write`.
//!
//! A module of 4 MiB: two `Am29LV160DB` side by side on 32 lines, 31 large sectors and four small
//! ones each, with typical times of their datasheet. Every row is a whole job over the simulated
//! adapter and line; nothing here depends on the speed of this computer. The goals are for
//! 250 kbaud.

#![allow(clippy::expect_used, reason = "a benchmark ends where its set-up fails")]

#[path = "../support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{
    BlockState, CaptureOptions, Event, Job, PlanOptions, SimPort, Wanted, WriteOptions,
};
use buswright::bus::{Baud, Nanos};
use buswright::link::RatePlan;
use buswright::sim::{Bench, BenchDescription};
use std::path::PathBuf;
use tempfile::TempDir;
use virtual_time::{Run, Scenario};

const RATE: u32 = 250_000;
const BYTES: usize = 4 << 20;
/// A large sector of both chips, in bytes.
const SECTOR: usize = 0x2_0000;
const LABEL: &str = "WRITE #1";

const SHEET: &str = "format = 1\nname = \"WRITE\"\ntitle = \"write benchmark\"\nrail_mv = 3300\n\
    address_lines = 20\n[[space]]\nname = \"store\"\nkind = \"flash\"\nfamily = \"amd\"\nwidth = 32\n\
    words = 0x100000\nselect = { CS0 = \"low\" }\ntiming = { access_ns = 150 }\n\
    chips = [{ ref = \"U1\", lane = \"D0-D15\" }, { ref = \"U2\", lane = \"D16-D31\" }]\n";

struct Place {
    folder: TempDir,
    description: BenchDescription,
    port: SimPort,
}

fn noise(seed: u64) -> Vec<u8> {
    let mut bytes = vec![0; BYTES];
    fastrand::Rng::with_seed(seed).fill(&mut bytes);
    bytes
}

impl Place {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let sheet = folder.path().join("sheet.toml");
        std::fs::write(&sheet, SHEET).expect("a sheet");
        let text = format!(
            "format = 1\nsheet = \"{}\"\nspecimen = \"{LABEL}\"\n[adapter]\nclock_hz = 16_000_000\n\
             reset_rate = {RATE}\nrates = [{RATE}]\n[line]\nfastest = {RATE}\n[[memory]]\n\
             kind = \"flash\"\nname = \"store\"\nwidth = 32\nbase = 0\nwords = 0x100000\n\
             select = {{ CS0 = \"low\" }}\naccess_ns = 90\nchip = \"Am29LV160DB\"\nfill = \"file\"\n\
             file = \"noise\"\n",
            sheet.display()
        );
        let mut description = BenchDescription::parse("bench", &text).expect("a good bench");
        description.set_contents("store", noise(1)).expect("it fits");
        let port = SimPort::new(Bench::new(&description, 1));
        Self { folder, description, port }
    }

    fn job(&mut self, job: Job) -> Run {
        let captures = self.folder.path().join("shelf");
        let mut scenario = Scenario::of(self.description.clone(), &captures);
        scenario.job = job;
        scenario.wanted = Wanted::default();
        scenario.plan = RatePlan { fixed: Some(Baud(RATE)), ..RatePlan::default() };
        let run = scenario.run_on(&mut self.port, |_, _| ());
        assert_eq!(run.outcome.code, 0, "{}", run.words());
        run
    }

    fn image(&self, name: &str, bytes: &[u8]) -> String {
        let path: PathBuf = self.folder.path().join(name);
        std::fs::write(&path, bytes).expect("an image");
        path.to_str().expect("a path").to_owned()
    }

    /// Plans `image`, then writes it; the run of the write.
    fn write(&mut self, name: &str, bytes: &[u8]) -> Run {
        let image = Some(self.image(name, bytes));
        let run = self.job(Job::Plan(PlanOptions { image, ..PlanOptions::default() }));
        let report = run.outcome.report.as_ref().expect("a report");
        let code = report["code"].as_str().expect("a code").to_owned();
        let run = self.job(Job::Write(WriteOptions::Plan { code, confirm: LABEL.into() }));
        let socket = self.port.bench().adapter().socket();
        let kept = socket.contents("store").expect("a store");
        assert!(kept == bytes, "{name} is not what the module holds");
        run
    }
}

/// From HELLO's answer to the rail being off at the end.
fn whole(run: &Run) -> f64 {
    let from = run.time_of(|event| matches!(event, Event::Connected { .. })).expect("it was told");
    let off =
        run.events.iter().rev().find(|(_, event)| matches!(event, Event::Rail { on: false, .. }));
    off.expect("it was told").0.since(from).as_secs_f64()
}

/// Seconds from the ends of all erases to the ends of their sectors, and how many of them the
/// checksums take.
fn programming(run: &Run) -> (f64, f64) {
    let blocks = |wanted: BlockState| {
        run.events.iter().filter_map(move |(at, event)| match event {
            Event::Block { state, address, .. } if *state == wanted => Some((*at, *address)),
            _ => None,
        })
    };
    let erased: Vec<(Nanos, u32)> = blocks(BlockState::Erased).collect();
    let mut sum = 0.0;
    for (end, address) in blocks(BlockState::Written) {
        let begun = erased.iter().find(|(_, at)| *at == address).expect("it was erased").0;
        sum += end.since(begun).as_secs_f64();
    }
    // The pass of checksums before the write makes the same ones.
    let is_pass = |event: &Event| matches!(event, Event::Pass { .. });
    let first = run.events.iter().position(
        |(_, event)| matches!(event, Event::Pass { what, .. } if what == "checksums before writing"),
    );
    let pass = &run.events[first.expect("it was told")..];
    let end = pass.iter().skip(1).position(|(_, event)| is_pass(event)).expect("sectors follow");
    let same = |event: &Event| matches!(event, Event::Block { state: BlockState::Same, .. });
    let last = pass[..=end].iter().rev().find(|(_, event)| same(event)).expect("checksums");
    (sum, last.0.since(pass[0].0).as_secs_f64())
}

fn row(what: &str, measured: &str, goal: &str, reached: bool) {
    let reached = if reached { "reached" } else { "**missed**" };
    println!("| {what} | {measured} | {goal} | {reached} |");
}

fn main() {
    let line = Baud(RATE).time_of(BYTES as u64).as_secs_f64();
    println!("4 MiB, two Am29LV160DB side by side, 250 kbaud: the line alone takes {line:.1} s.\n");
    println!("| what | measured | goal | |\n|---|---|---|---|");
    let mut place = Place::new();
    let capture = place.job(Job::Capture(CaptureOptions::default()));
    let first = capture.time_of(|event| matches!(event, Event::Pass { number: 1, .. }));
    let second = capture.time_of(|event| matches!(event, Event::Pass { number: 2, .. }));
    let read = second.expect("pass two").since(first.expect("pass one")).as_secs_f64();

    let run = place.write("noise", &noise(2));
    let (with_sums, sums) = programming(&run);
    let share = line / (with_sums - sums) * 100.0;
    let measured = format!("{share:.1} % of the line");
    row("programming noise, without its checksums", &measured, "95 %", share >= 95.0);
    let full = whole(&run);
    let ratio = full / line;
    let measured = format!("{full:.1} s, {ratio:.3} x the line");
    row("the whole job, every sector erased", &measured, "1.45", ratio <= 1.45);

    let mut tenth = noise(2);
    for number in [3, 12, 21, 30] {
        tenth[number * SECTOR..(number + 1) * SECTOR].reverse();
    }
    let seconds = whole(&place.write("tenth", &tenth));
    let part = seconds / full * 100.0;
    let measured = format!("{seconds:.1} s, {part:.1} % of the full write");
    row("a version that differs in 4 of 35 sectors", &measured, "20 %", part <= 20.0);

    let image = place.image("same", &tenth);
    let (space, range, accept_simulated) = (None, None, false);
    let verify = place.job(Job::Verify { image, space, range, accept_simulated });
    let seconds = whole(&verify);
    let part = seconds / read * 100.0;
    let measured = format!("{seconds:.1} s, {part:.1} % of reading it ({read:.1} s)");
    row("verify", &measured, "8 %", part <= 8.0);

    let mut sparse = tenth;
    sparse[SECTOR..].iter_mut().enumerate().for_each(|(n, byte)| {
        if n % SECTOR >= SECTOR / 16 {
            *byte = 0xFF;
        }
    });
    let run = place.write("sparse", &sparse);
    let (with_sums, sums) = programming(&run);
    let bytes = sparse.chunks(4).filter(|word| word != &[0xFF; 4]).count() * 4;
    let alone = Baud(RATE).time_of(bytes as u64).as_secs_f64();
    let measured = format!(
        "{:.1} s programming; the line alone takes {alone:.1} s for the words that are not blank",
        with_sums - sums
    );
    row("15 words of 16 blank", &measured, "nearly free", with_sums - sums < alone * 1.2);
}
