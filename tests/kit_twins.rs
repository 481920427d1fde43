//! The C core beside the simulated adapter: two programs written from one text must answer alike.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "kit_twins/long.rs"]
mod long;
#[path = "kit_twins/random.rs"]
mod random;
#[path = "kit_twins/stretches.rs"]
mod stretches;
mod support;

use buswright::bus::{Millivolts, Nanos, ShapeId, Span};
use buswright::sim::{Bench, BenchDescription};
use buswright::wire::{FaultCode, FrameReader, RailState, Reply, encode_frame_after_idle};
use random::Random;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use support::kit::Kit;

/// Time enough for any request of these tests, RAIL off included.
const GAP: Nanos = Nanos::from_millis(97);

const BENCH: &str = "format = 1\nsheet = \"none\"\nspecimen = \"T #1\"\n\
    [line]\npace = \"instant\"\n\
    [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\nwords = 0x1000\n\
    select = { CS0 = \"low\" }\nfill = \"file\"\nfile = \"store.bin\"\n\
    [[memory]]\nkind = \"ram\"\nname = \"records\"\nwidth = 32\nwords = 0x100\n\
    select = { CS1 = \"low\" }\nfill = \"file\"\nfile = \"ram.bin\"\n";

/// What the C side's module holds: see talk.c.
fn bench() -> Bench {
    let words = (0..0x1000_u32).flat_map(|n| ((n >> 4).wrapping_mul(0x9E37_79B1)).to_le_bytes());
    let mut description = BenchDescription::parse("bench", BENCH).unwrap();
    description.set_contents("store", words.collect()).unwrap();
    description.set_contents("records", vec![0; 0x400]).unwrap();
    Bench::new(&description, 1)
}

/// Bodies sent at their times to the simulated adapter; the bodies that come back.
fn simulated(sent: &[(Nanos, Vec<u8>)]) -> Vec<Vec<u8>> {
    let mut bench = bench();
    let mut reader = FrameReader::new(2_000);
    let mut got = Vec::new();
    let mut now = Nanos::ZERO;
    let mut take = |bench: &mut Bench, now: Nanos| {
        while let Some(bytes) = bench.poll_receive(now) {
            reader.push(&bytes, |body| got.push(body.to_vec()));
        }
    };
    let last = sent.last().unwrap().0 + GAP;
    for (at, body) in sent.iter().cloned().chain([(last, Vec::new())]) {
        take(&mut bench, now);
        while let Some(due) = bench.poll_timeout().filter(|due| *due <= at) {
            now = now.max(due);
            take(&mut bench, now);
        }
        now = at;
        if !body.is_empty() {
            bench.host_send(now, &encode_frame_after_idle(&body));
        }
    }
    got
}

/// What the program prints, and its books.
fn talk(program: &Path, input: String) -> (String, String) {
    let mut command = Command::new(program);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let out = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    let books = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(out.status.success(), "ended with {}: {books}", out.status);
    (String::from_utf8(out.stdout).unwrap(), books)
}

/// The same for the C core.
fn native(program: &Path, sent: &[(Nanos, Vec<u8>)]) -> Vec<Vec<u8>> {
    let mut input = String::new();
    for (at, body) in sent {
        write!(input, "{}", at.0 / 1000).unwrap();
        for byte in encode_frame_after_idle(body) {
            write!(input, " {byte:02X}").unwrap();
        }
        input.push('\n');
    }
    writeln!(input, "{}", (sent.last().unwrap().0 + GAP).0 / 1000).unwrap();
    let (out, _) = talk(program, input);
    let mut reader = FrameReader::new(2_000);
    let mut got = Vec::new();
    for line in out.lines() {
        let bytes = line.split(' ').skip(1).map(|byte| u8::from_str_radix(byte, 16).unwrap());
        let frame: Vec<u8> = [0].into_iter().chain(bytes).chain([0]).collect();
        reader.push(&frame, |body| got.push(body.to_vec()));
    }
    got
}

/// True if some address has no memory behind it: what floating lines show is the bench's own.
fn open(shape: ShapeId, span: Span) -> bool {
    let words = if shape == ShapeId(0) { 0x1000 } else { 0x100 };
    shape.0 > 1 || span.bounds().is_some_and(|(low, high)| low < 0 || high >= words)
}

/// The reply without what may differ: identity, times and voltages, levels of open lines.
fn plain(body: &[u8]) -> String {
    let (tag, mut reply) = Reply::decode(body).unwrap().unwrap();
    match &mut reply {
        Reply::Hello(hello) => {
            let told = (hello.session, hello.previous_session, hello.previous_run);
            return format!("{tag} HELLO {told:?} {}", hello.previous_status);
        }
        Reply::Ping(ping) => {
            ping.boot_id = 0;
            ping.frames_damaged = 0;
        }
        Reply::Rail(rail) => {
            rail.took_ms = 0;
            // How deep it has fallen when somebody looks next is free; that it is below 300 is not.
            if rail.state == RailState::Off && rail.mv.0 < 300 {
                rail.mv = Millivolts(0);
            }
        }
        Reply::Shape(shape) => return format!("{tag} {}", shape.id),
        Reply::Lines(_) => return format!("{tag} LINES"),
        Reply::Walk(walk) => return format!("{tag} WALK {} rows", walk.rows.len()),
        Reply::Stop(stop) => stop.within_ms = 0,
        Reply::Run(run) => run.elapsed_us = 0,
        Reply::Read(read) if open(read.echo.shape, read.echo.span()) => read.payload.clear(),
        Reply::Digest(digest) if open(digest.echo.shape, digest.echo.span()) => {
            return format!("{tag} {:?}", digest.echo);
        }
        // Which of several slots it names is free.
        Reply::Fault(fault) if fault.code == FaultCode::SHAPE_REFUSED => fault.detail &= 0xFF,
        Reply::Busy(_) => return String::new(),
        _ => {}
    }
    format!("{tag} {reply:?}")
}

fn compare(program: &Path, sent: &[(Nanos, Vec<u8>)], what: &str) {
    let both = [native(program, sent), simulated(sent)];
    let [c, rust] = both.map(|bodies| {
        bodies.iter().map(|body| plain(body)).filter(|line| !line.is_empty()).collect::<Vec<_>>()
    });
    for n in 0..c.len().max(rust.len()) {
        if c.get(n) != rust.get(n) {
            let of = |at: usize| sent.get(at).map(|(_, body)| format!("{body:02X?}"));
            let before: Vec<_> = c[n.saturating_sub(40)..n].to_vec();
            panic!(
                "{what}: reply {n}\n  before: {before:#?}\n  C:    {:?}\n  Rust: {:?}\n  \
                 request {:?}",
                c.get(n),
                rust.get(n),
                of(n)
            );
        }
    }
    assert!(c.len() >= sent.len() * 9 / 10, "{what}: {} replies", c.len());
}

/// Noise, frames cut anywhere, requests at any time, then silence: nothing crashes, no rule of the
/// bus is broken, and the dead-man switches the rail off.
#[test]
fn whatever_comes_in_the_core_stands_and_the_rail_goes_off() {
    let Some(kit) = Kit::export() else { return };
    let program = program(&kit);
    for seed in if support::long() { 0..2_000 } else { 0..100 } {
        let mut random = Random::tame(seed + 1_000);
        let mut rng = fastrand::Rng::with_seed(seed);
        let (mut at, mut input) = (1_000_000_u32, String::new());
        for n in 0..200_u32 {
            let mut bytes = encode_frame_after_idle(&random.body(n as u8));
            match rng.u8(..8) {
                0 => bytes = (0..rng.usize(..300)).map(|_| rng.u8(..)).collect(),
                1 => bytes.truncate(rng.usize(1..=bytes.len())),
                2 => {
                    let at = rng.usize(..bytes.len());
                    bytes[at] = rng.u8(..);
                }
                _ => {}
            }
            if bytes.is_empty() {
                bytes.push(0);
            }
            write!(input, "{at}").unwrap();
            for byte in &bytes {
                write!(input, " {byte:02X}").unwrap();
            }
            input.push('\n');
            at += if rng.u8(..4) == 0 { rng.u32(..200_000) } else { rng.u32(..2_000) };
        }
        // A run that lasts may still be at work; its dead-man comes in the same time.
        writeln!(input, "{}", at + 9_000_000).unwrap();
        let (_, books) = talk(&program, input);
        assert!(books.contains("violations 0, writes to the store 0"), "seed {seed}: {books}");
        assert!(books.contains("rail off"), "seed {seed}: {books}");
    }
}

fn program(kit: &Kit) -> PathBuf {
    let core = kit.core();
    let mut core: Vec<&str> = core.iter().map(String::as_str).collect();
    core.push("boards/host_module.c");
    kit.program("talk", "twin_board.h", &["talk.c"], &core)
}

#[test]
fn atomic_stretches_come_out_alike() {
    let Some(kit) = Kit::export() else { return };
    let program = program(&kit);
    let seeds = if support::long() { 0..300 } else { 0..40 };
    for seed in seeds {
        let requests = stretches::requests(seed, 60);
        let each = requests.iter().enumerate();
        let sent = each.map(|(n, request)| (GAP * (n as u64 + 10), request.encode(n as u8)));
        compare(&program, &sent.collect::<Vec<_>>(), &format!("seed {seed}"));
    }
}

#[test]
fn both_answer_alike_whatever_is_asked() {
    let Some(kit) = Kit::export() else { return };
    let program = program(&kit);
    let seeds = if support::long() { 0..200 } else { 0..30 };
    for seed in seeds {
        let mut random = Random::new(seed);
        let mut at = Nanos::from_secs(1);
        let mut sent = Vec::new();
        for n in 0..300_u32 {
            sent.push((at, random.body(n as u8)));
            at += GAP;
        }
        compare(&program, &sent, &format!("seed {seed}"));
    }
}
