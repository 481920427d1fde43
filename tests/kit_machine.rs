//! The firmware as machine code: built by avr-gcc, run in simavr by a rig that is no part of the
//! product, with a module on its ports whose times are checked.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use buswright::bus::script::{Builder, Sweep, SweepOp};
use buswright::bus::{Levels, Millivolts, Phases, Shape, ShapeId, ShapeTimes, Width, WordAddress};
use buswright::wire::{
    FrameReader, HelloRequest, PermitRequest, RailAction, RailRequest, RailState, Reply, Request,
    RunId, RunReply, RunRequest, ScriptRequest, ShapeRequest, encode_frame_after_idle,
};
use std::fs;
use std::io::{Read as _, Write as _};
use std::time::{Duration, Instant};
use support::avr::{Machine, number};
use support::process::buswright;

/// 256 KiB on 32 bits.
const WORDS: usize = 0x10000;

/// Bytes of program memory: a little above what was reached. The goal is 28 KiB.
const FLASH: u64 = 32_768;

const SHEET: &str = "format = 1\nname = \"KM\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 16\n\
     [[space]]\nname = \"store\"\nkind = \"rom\"\nwidth = 32\nwords = 0x10000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 90 }\n";

#[derive(Debug)]
struct Figures {
    /// Cycles a word, the line included.
    read: f64,
    digest: f64,
}

/// A capture against the firmware at this clock: bytes equal, no violation, memory in its bounds.
fn captured(clock: u32, rate: Option<u32>) -> Option<Figures> {
    let mut contents = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(31).fill(&mut contents);
    let machine = Machine::start_at(clock, rate.unwrap_or(250_000), &contents, 0, None)?;
    let home = tempfile::tempdir().unwrap();
    let (sheet, copy) = (home.path().join("sheet.toml"), home.path().join("copy.bin"));
    fs::write(&sheet, SHEET).unwrap();
    let (sheet, out) = (sheet.to_str().unwrap(), copy.to_str().unwrap());
    let rate = rate.map_or_else(String::new, |rate| format!("@{rate}"));
    let port = format!("{}{rate}", machine.port());
    let words = ["capture", "--out", out, "--port", &port, "--sheet", sheet];
    let ran = buswright(home.path(), [&words[..], &["--specimen", "KM #0001"]].concat());
    let sizes = machine.sizes.clone();
    let books = machine.end();
    assert_eq!(ran.code, Some(0), "{}{}\n{}", ran.out, ran.err, books.text);
    assert!(fs::read(&copy).unwrap() == contents, "the copy is what the module holds");
    let (stack, data) = (books.number("stack"), number(&sizes, "Data:"));
    assert!(stack + data <= 7 * 1024, "RAM: {data} and {stack} of stack");
    let per_word = |kind| {
        let (cycles, reads) = books.of_kind(kind);
        cycles as f64 / reads as f64
    };
    let figures = Figures { read: per_word(0x89), digest: per_word(0x8A) };
    let flash = number(&sizes, "Program:");
    assert!(flash <= FLASH, "flash: {flash} bytes");
    println!("{clock} Hz{rate}: {figures:?}, flash {flash}, data {data}, stack {stack}");
    Some(figures)
}

/// Bounds a little above what was measured: docs/performance.md has the figures.
#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz() {
    let Some(figures) = captured(16_000_000, None) else { return };
    assert!(figures.read < 500.0 && figures.digest < 145.0, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz_and_250000_baud() {
    let Some(figures) = captured(16_000_000, Some(250_000)) else { return };
    // The line takes 2,560 cycles for the bytes of a word.
    assert!(2560.0 / figures.read > 0.96, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz_and_1000000_baud() {
    let Some(figures) = captured(16_000_000, Some(1_000_000)) else { return };
    // The line takes 640 cycles for the bytes of a word.
    assert!(640.0 / figures.read > 0.96, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_8_mhz() {
    let Some(figures) = captured(8_000_000, None) else { return };
    assert!(figures.read < 500.0 && figures.digest < 145.0, "{figures:?}");
}

/// Whoever says a few requests by hand, one after the other.
struct Host {
    port: Box<dyn serialport::SerialPort>,
    reader: FrameReader,
    tag: u8,
}

impl Host {
    fn ask(&mut self, request: &Request) -> Reply {
        self.tag += 1;
        let until = Instant::now() + Duration::from_secs(60);
        // Whatever is lost, while the controller starts, is asked for again: that is no harm.
        let mut again = Instant::now();
        let mut found = None;
        while found.is_none() {
            assert!(Instant::now() < until, "no answer to {request:?}");
            if Instant::now() >= again {
                self.port.write_all(&encode_frame_after_idle(&request.encode(self.tag))).unwrap();
                again = Instant::now() + Duration::from_secs(1);
            }
            let mut bytes = [0; 256];
            let Ok(count) = self.port.read(&mut bytes) else { continue };
            self.reader.push(&bytes[..count], |body| {
                let (tag, reply) = Reply::decode(body).unwrap().unwrap();
                if tag == self.tag && !matches!(reply, Reply::Busy(_)) {
                    found = Some(reply);
                }
            });
        }
        found.unwrap()
    }

    /// A script in slot 0, and the run of it with this id.
    fn run(&mut self, script: Builder, run: u32, payload: Vec<u32>, n: u32) -> RunReply {
        let bytes = script.script().unwrap().0;
        let script_crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes);
        let stored = self.ask(&Request::Script(ScriptRequest { slot: 0, bytes }));
        assert!(matches!(stored, Reply::Script(_)), "{stored:?}");
        let id = RunId { session: 7, chain: 1, run };
        let reply = self.ask(&Request::Run(RunRequest {
            id,
            after: run - 1,
            slot: 0,
            script_crc,
            a: WordAddress(0),
            b: WordAddress(0x40),
            n,
            lanes: u32::MAX,
            width: Width::W32,
            payload,
        }));
        let Reply::Run(reply) = reply else { panic!("{reply:?}") };
        assert_eq!(reply.status, 0, "{reply:?}");
        reply
    }
}

fn shape(select: u16) -> Shape {
    let low = |mask| Levels { mask, level: 0 };
    Shape {
        width: Width::W32,
        first_line: 0,
        idle: Levels { mask: 15, level: 15 },
        read: Phases { setup: low(select), strobe: low(1) },
        write: Some(Phases { setup: low(select), strobe: low(2) }),
        times: ShapeTimes { setup: 70, pulse: 150, hold: 10, recover: 20, release: 60 },
    }
}

/// Scripts as machine code, where an `int` has 16 bits: payload, polls, sweeps, emitted words.
#[test]
fn scripts_run_as_machine_code() {
    let Some(machine) = Machine::start(16_000_000, &[0; 4096], 0x10000, None) else { return };
    let port = serialport::new(machine.port(), 250_000).timeout(Duration::from_millis(50));
    let mut host = Host { port: port.open().unwrap(), reader: FrameReader::new(2_000), tag: 0 };
    let hello = host.ask(&Request::Hello(HelloRequest { major: 1, session: 7 }));
    assert!(matches!(hello, Reply::Hello(_)), "{hello:?}");
    for (id, select) in [(0, 4), (1, 8)] {
        let request = ShapeRequest { id: ShapeId(id), shape: shape(select) };
        let reply = host.ask(&Request::Shape(request));
        assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    }
    let on = RailRequest {
        action: RailAction::On,
        expected: Millivolts(3300),
        settle_ms: 50,
        floor: Millivolts(3000),
        shapes: 2,
    };
    let reply = host.ask(&Request::Rail(on));
    assert!(matches!(&reply, Reply::Rail(rail) if rail.state == RailState::On), "{reply:?}");
    let reply = host.ask(&Request::Permit(PermitRequest {
        shape: ShapeId(1),
        lines: false,
        seconds: 600,
        start: WordAddress(0),
        words: 0x10000,
        lanes: u32::MAX,
        address_mask: 0,
        addresses: Vec::new(),
    }));
    assert!(matches!(reply, Reply::Permit(_)), "{reply:?}");

    let new = || Builder::new(ShapeId(1));
    let words: Vec<u32> = (1..=150_u32).map(|n| n.wrapping_mul(0x9E37_79B1)).collect();
    let write = new().repeat_n(|b| b.write_payload().wait_written(Width::W16, 0, 1_000).step(1));
    let reply = host.run(write, 1, words.clone(), 150);
    assert_eq!((reply.a, reply.d), (WordAddress(150), words[149]));
    let emit = new().repeat(30, |b| b.read_a().emit().step(1));
    assert_eq!(host.run(emit, 2, Vec::new(), 1).emitted, words[..30]);
    // 300 addresses from 0x40 on are not the background: the first 86 hold words, then zeros.
    let sweep = |operations: &[SweepOp]| Sweep::new(operations).unwrap();
    let wrong = sweep(&[SweepOp::Read(true)]);
    let reply = host.run(new().sweep(wrong), 3, Vec::new(), 300);
    assert_eq!((reply.mismatches, reply.listed.len()), (300, 8), "{reply:?}");
    // More addresses than 16 bits can count signed. Nobody pings, so each stays below 5 s.
    let mut took = 0;
    for (run, operation) in [(4, SweepOp::Write(false)), (5, SweepOp::Read(false))] {
        let reply = host.run(new().sweep(sweep(&[operation])), run, Vec::new(), 40_000);
        assert_eq!((reply.mismatches, reply.a), (0, WordAddress(0x40 + 39_999)), "{reply:?}");
        took += reply.elapsed_us;
    }
    let each = took * 16 / 80_000;
    println!("80,000 operations of a sweep: {each} cycles each");
    assert!(each <= 70, "{each} cycles an operation");
    let reply = host.ask(&Request::Rail(RailRequest::OFF));
    assert!(matches!(&reply, Reply::Rail(rail) if rail.state == RailState::Off), "{reply:?}");
    machine.end();
}
