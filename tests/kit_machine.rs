//! The firmware as machine code: built by avr-gcc, run in simavr by a rig that is no part of the
//! product, with a module on its ports whose times are checked.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "kit_machine/narrow.rs"]
mod narrow;
mod support;

use buswright::bus::script::{Builder, Sweep, SweepOp};
use buswright::bus::{
    Digest, Levels, Millivolts, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    DigestRequest, FrameReader, HelloRequest, PermitRequest, RailAction, RailRequest, RailState,
    ReadEcho, ReadRequest, Reply, Request, RunId, RunReply, RunRequest, ScriptRequest,
    ShapeRequest, decode_runs, encode_frame_after_idle,
};
use std::fs;
use std::io::{Read as _, Write as _};
use std::time::{Duration, Instant};
use support::avr::{Machine, number};
use support::process::buswright;

/// 256 KiB on 32 bits.
const WORDS: usize = 0x10000;

/// Bytes of program memory: a little above what was reached. The goal is 28 KiB.
const FLASH: u64 = 44_000;

const SHEET: &str = "format = 1\nname = \"KM\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 16\n\
     [[space]]\nname = \"store\"\nkind = \"rom\"\nwidth = 32\nwords = 0x10000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 90 }\n";

#[derive(Debug)]
struct Figures {
    /// Cycles a word, the line included.
    read: f64,
    digest: f64,
}

fn noise() -> Vec<u8> {
    let mut contents = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(31).fill(&mut contents);
    contents
}

/// A capture against the firmware at this clock: bytes equal, no violation, memory in its bounds.
fn captured(clock: u32, rate: Option<u32>, contents: &[u8]) -> Option<Figures> {
    let machine = Machine::start_at(clock, rate.unwrap_or(250_000), contents, 0, None)?;
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

/// The share that the payload has of a line on which a word takes so many cycles.
fn share(figures: &Figures, word: f64) -> f64 {
    word / figures.read
}

// The goals themselves; docs/performance.md has the figures.

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz() {
    let Some(figures) = captured(16_000_000, None, &noise()) else { return };
    assert!(share(&figures, 320.0) >= 0.95 && figures.digest <= 150.0, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz_and_250000_baud() {
    let Some(figures) = captured(16_000_000, Some(250_000), &noise()) else { return };
    assert!(share(&figures, 2560.0) >= 0.97, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz_and_1000000_baud() {
    let Some(figures) = captured(16_000_000, Some(1_000_000), &noise()) else { return };
    assert!(share(&figures, 640.0) >= 0.97, "{figures:?}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_8_mhz() {
    let Some(figures) = captured(8_000_000, None, &noise()) else { return };
    assert!(share(&figures, 320.0) >= 0.95 && figures.digest <= 150.0, "{figures:?}");
}

#[test]
fn a_blank_module_is_captured_eight_times_as_fast_as_the_line_carries_words() {
    let Some(figures) = captured(16_000_000, Some(1_000_000), &vec![0xFF; WORDS * 4]) else {
        return;
    };
    assert!(share(&figures, 640.0) >= 8.0, "{figures:?}");
}

/// Whoever says a few requests by hand, one after the other.
struct Host {
    port: Box<dyn serialport::SerialPort>,
    reader: FrameReader,
    tag: u8,
}

impl Host {
    /// With the rail on, and a shape for each of these selects.
    fn start(machine: &Machine, selects: &[(u8, u16)]) -> Self {
        Self::start_at(machine, 250_000, selects)
    }

    /// The same at the rate that the firmware begins with.
    fn start_at(machine: &Machine, rate: u32, selects: &[(u8, u16)]) -> Self {
        let port = serialport::new(machine.port(), rate).timeout(Duration::from_millis(50));
        let reader = FrameReader::new(2_000);
        let mut host = Self { port: port.open().unwrap(), reader, tag: 0 };
        let hello = host.ask(&Request::Hello(HelloRequest { major: 1, session: 7 }));
        assert!(matches!(hello, Reply::Hello(_)), "{hello:?}");
        for &(id, select) in selects {
            let request = ShapeRequest { id: ShapeId(id), shape: shape(select) };
            let reply = host.ask(&Request::Shape(request));
            assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
        }
        let on = RailRequest {
            action: RailAction::On,
            expected: Millivolts(3300),
            settle_ms: 50,
            floor: Millivolts(3000),
            shapes: selects.len() as u8,
        };
        let reply = host.ask(&Request::Rail(on));
        assert!(matches!(&reply, Reply::Rail(rail) if rail.state == RailState::On), "{reply:?}");
        host
    }

    /// Session 7, with RAM in shape 1 and leave to write it.
    fn ready(machine: &Machine, rate: u32) -> Self {
        let mut host = Self::start_at(machine, rate, &[(0, 4), (1, 8)]);
        host.permit(ShapeId(1), u32::MAX);
        host
    }

    /// Leave to write all of the RAM by this shape.
    fn permit(&mut self, shape: ShapeId, lanes: u32) {
        let reply = self.ask(&Request::Permit(PermitRequest {
            shape,
            lines: false,
            seconds: 600,
            start: WordAddress(0),
            words: 0x10000,
            lanes,
            address_mask: 0,
            addresses: Vec::new(),
        }));
        assert!(matches!(reply, Reply::Permit(_)), "{reply:?}");
    }

    /// Switches the rail off.
    fn end(mut self) {
        let reply = self.ask(&Request::Rail(RailRequest::OFF));
        assert!(matches!(&reply, Reply::Rail(rail) if rail.state == RailState::Off), "{reply:?}");
    }

    /// Overruns and damaged frames that the firmware has counted.
    fn lost(&mut self) -> (u32, u32) {
        let Reply::Ping(ping) = self.ask(&Request::Ping) else { panic!("no PING") };
        (ping.overruns, ping.frames_damaged)
    }

    fn ask(&mut self, request: &Request) -> Reply {
        self.ask_all(std::slice::from_ref(request)).remove(0)
    }

    /// Says them all at once; their answers in the same order.
    fn ask_all(&mut self, requests: &[Request]) -> Vec<Reply> {
        let until = Instant::now() + Duration::from_secs(60);
        let tags: Vec<u8> = requests
            .iter()
            .map(|_| {
                self.tag = self.tag.wrapping_add(1);
                self.tag
            })
            .collect();
        // Whatever is lost, while the controller starts, is asked for again: that is no harm.
        let mut again = Instant::now();
        let mut found: Vec<Option<Reply>> = vec![None; requests.len()];
        while let Some(open) = found.iter().position(Option::is_none) {
            assert!(Instant::now() < until, "no answer to {:?}", requests[open]);
            if Instant::now() >= again {
                let asked = tags.iter().zip(requests).zip(&found);
                let frames = asked.filter(|(_, found)| found.is_none());
                let frames =
                    frames.flat_map(|((&tag, ask), _)| encode_frame_after_idle(&ask.encode(tag)));
                self.port.write_all(&frames.collect::<Vec<_>>()).unwrap();
                again = Instant::now() + Duration::from_secs(3);
            }
            let mut bytes = [0; 4096];
            let Ok(count) = self.port.read(&mut bytes) else { continue };
            self.reader.push(&bytes[..count], |body| {
                let (tag, reply) = Reply::decode(body).unwrap().unwrap();
                if let Some(at) = tags.iter().position(|&t| t == tag)
                    && !matches!(reply, Reply::Busy(_))
                {
                    found[at] = Some(reply);
                }
            });
        }
        found.into_iter().flatten().collect()
    }

    /// A script in slot 0, and the run of it with this id.
    fn run(&mut self, script: Builder, run: u32, payload: Vec<u32>, n: u32) -> RunReply {
        self.run_on(Width::W32, script, run, payload, n)
    }

    /// The same with a payload of this width.
    fn run_on(
        &mut self,
        width: Width,
        script: Builder,
        run: u32,
        payload: Vec<u32>,
        n: u32,
    ) -> RunReply {
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
            lanes: width.ones(),
            width,
            payload,
        }));
        let Reply::Run(reply) = reply else { panic!("{reply:?}") };
        assert_eq!(reply.status, 0, "{reply:?}");
        reply
    }

    /// `count` runs of the script in slot 0 with `n` payload words each, three on their way at any
    /// time; each is to end good, without being asked for again.
    fn stream(&mut self, script_crc: u32, count: u32, n: u32) {
        let until = Instant::now() + Duration::from_secs(60);
        let (mut sent, mut ended) = (0, 0);
        while ended < count {
            assert!(Instant::now() < until, "{ended} of {count} runs");
            while sent < count.min(ended + 3) {
                sent += 1;
                let request = Request::Run(RunRequest {
                    id: RunId { session: 7, chain: 1, run: sent },
                    after: sent - 1,
                    slot: 0,
                    script_crc,
                    a: WordAddress(0),
                    b: WordAddress(sent * n),
                    n,
                    lanes: u32::MAX,
                    width: Width::W32,
                    payload: (0..n)
                        .map(|word| (sent * n + word).wrapping_mul(0x9E37_79B1))
                        .collect(),
                });
                self.port.write_all(&encode_frame_after_idle(&request.encode(sent as u8))).unwrap();
            }
            let mut bytes = [0; 256];
            let Ok(got) = self.port.read(&mut bytes) else { continue };
            self.reader.push(&bytes[..got], |body| match Reply::decode(body).unwrap().unwrap() {
                (_, Reply::Busy(_)) => {}
                (_, Reply::Run(reply)) if reply.status == 0 => ended += 1,
                (_, other) => panic!("{other:?}"),
            });
        }
    }
}

/// Runs at work while the next ones come in at full rate: the adapter has lost nothing.
#[track_caller]
fn keeps_up(clock: u32, rate: u32) {
    let Some(machine) = Machine::start_at(clock, rate, &[0; 4096], 0x10000, None) else { return };
    let mut host = Host::ready(&machine, rate);
    let word = |b: Builder| b.write_payload().wait_written(Width::W16, 0, 100);
    let script = Builder::new(ShapeId(1))
        .set_a_to_b()
        .repeat_n(|b| b.critical(200, word).step(1))
        .script()
        .unwrap();
    let script_crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&script.0);
    let stored = host.ask(&Request::Script(ScriptRequest { slot: 0, bytes: script.0 }));
    assert!(matches!(stored, Reply::Script(_)), "{stored:?}");
    // The first HELLO may have come while the firmware began, and was cut off then.
    let before = host.lost();
    host.stream(script_crc, 30, 204);
    assert_eq!(host.lost(), before, "{clock} Hz, {rate} baud");
    host.ask(&Request::Rail(RailRequest::OFF));
    let books = machine.end();
    assert_eq!(books.number("RAM writes"), 30 * 204, "{}", books.text);
}

#[test]
fn nothing_that_comes_at_full_rate_is_lost() {
    for rate in [250_000, 500_000, 1_000_000, 2_000_000] {
        keeps_up(16_000_000, rate);
    }
    for rate in [250_000, 500_000, 1_000_000] {
        keeps_up(8_000_000, rate);
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
    let mut host = Host::ready(&machine, 250_000);
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
    host.end();
    machine.end();
}

fn read(address: u32, step: i16, count: u16, precharge: Precharge, encoding: u8) -> Request {
    let (shape, address) = (ShapeId(0), WordAddress(address));
    Request::Read(ReadRequest {
        echo: ReadEcho { nonce: 5, shape, address, step, count, precharge, encoding },
    })
}

fn digest(count: u32, precharge: Precharge) -> Request {
    let (shape, address) = (ShapeId(0), WordAddress(0));
    Request::Digest(DigestRequest { nonce: 6, shape, address, step: 1, count, precharge })
}

/// Whatever a READ asks for: words in runs and without, over every turn of the address's bytes.
#[test]
fn reads_of_every_kind_are_right_as_machine_code() {
    let random = &mut fastrand::Rng::with_seed(17);
    let mut words = Vec::new();
    while words.len() < WORDS {
        words.extend((0..random.usize(..40)).map(|_| random.u32(..) & random.u32(..)));
        // Words that differ in one byte only are no run.
        let (word, other) = (random.u32(..), 0xFF << (random.u32(..4) * 8));
        words.extend(vec![word; random.usize(..300)]);
        words.extend([word ^ other, word]);
    }
    words.truncate(WORDS);
    let contents: Vec<u8> = words.iter().flat_map(|word| word.to_le_bytes()).collect();
    let Some(machine) = Machine::start_at(16_000_000, 1_000_000, &contents, 0, None) else {
        return;
    };
    let mut host = Host::start(&machine, &[(0, 4)]);
    for _ in 0..8 {
        let asked: Vec<_> = (0..40)
            .map(|_| {
                let count = random.u16(..=256);
                let step: i16 = [1, 1, 1, -1, 2, 0, 255, -256][random.usize(..8)];
                let reach = u32::from(step.unsigned_abs()) * u32::from(count.saturating_sub(1));
                let address = random.u32(reach..WORDS as u32);
                let address = if step < 0 { address } else { address - reach };
                let precharge = [Precharge::None, Precharge::Zeros, Precharge::Ones];
                let encoding = random.u8(..2);
                (address, step, count, precharge[random.usize(..3)], encoding)
            })
            .collect();
        let requests: Vec<_> = asked.iter().map(|&(a, s, n, p, e)| read(a, s, n, p, e)).collect();
        for (asked, reply) in asked.iter().zip(host.ask_all(&requests)) {
            let Reply::Read(reply) = reply else { panic!("{asked:?}: {reply:?}") };
            let &(address, step, count, _, encoding) = asked;
            let at = |n: u16| address.wrapping_add_signed(i32::from(step) * i32::from(n)) as usize;
            let expected = (0..count).flat_map(|n| words[at(n)].to_le_bytes());
            let got = match encoding {
                0 => reply.payload,
                _ => decode_runs(Width::W32, count.into(), &reply.payload).unwrap(),
            };
            assert!(got == expected.collect::<Vec<_>>(), "{asked:?}");
        }
    }
    host.end();
    machine.end();
}

/// What a capture does not ask for: checksums without a charge, and upwards; blank words without one.
#[test]
fn words_without_a_charge_take_their_time() {
    let mut contents = noise();
    contents[WORDS * 2..].fill(0xFF);
    let Some(machine) = Machine::start_at(16_000_000, 1_000_000, &contents, 0, None) else {
        return;
    };
    let mut host = Host::start(&machine, &[(0, 4)]);
    let mut requests: Vec<_> =
        (0..64).map(|n| read(0x8000 + n * 256, 1, 256, Precharge::None, 1)).collect();
    // Its reply is where the figure begins.
    requests.push(digest(0x9000, Precharge::Zeros));
    requests.push(digest(0x10000, Precharge::None));
    let replies = host.ask_all(&requests);
    for (reply, count) in replies.iter().rev().zip([0x10000, 0x9000]) {
        let Reply::Digest(reply) = reply else { panic!("{reply:?}") };
        assert_eq!(reply.digest, Digest::of(Width::W32, &contents[..count * 4], false));
    }
    host.end();
    let books = machine.end();
    let [read, digest] = [0x89, 0x8A].map(|kind| {
        let (cycles, reads) = books.of_kind(kind);
        cycles as f64 / reads as f64
    });
    println!("without a charge: blank READ {read}, DIGEST {digest} cycles a word");
    assert!(read <= 120.0 && digest <= 125.0, "READ {read}, DIGEST {digest}");
}
