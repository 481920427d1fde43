//! The examples as typed values.

#[path = "runs.rs"]
pub mod runs;

use buswright::bus::{
    Baud, Digest, Levels, Millivolts, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width,
    WordAddress,
};
use buswright::wire::{
    AtomicTimes, Busy, ControlLine, DataPath, DigestReply, DigestRequest, Encoding, Fault,
    FaultCode, HelloReply, HelloRequest, Kind, PingReply, RailAction, RailReply, RailRequest,
    RailState, RateReply, RateRequest, ReadEcho, ReadReply, ReadRequest, Reply, Request,
    ShapeReply, ShapeRequest, Sizes, StopReply, Supply, encode_runs,
};

/// A request or a reply.
#[derive(Debug, PartialEq)]
pub enum Message {
    Ask(Request),
    Answer(Reply),
}
use Message::{Answer, Ask};

/// Name, tag and value.
pub type Example = (&'static str, u8, Message);

/// Every example, in the order of the vector file.
pub fn examples() -> Vec<Example> {
    let mut all = session();
    all.extend(rate_and_rail());
    all.extend(runs::permits());
    all.extend(shapes());
    all.extend(runs::lines());
    all.extend(reads());
    all.extend(digests());
    all.extend(runs::cycles());
    all.extend(runs::runs());
    all.extend(others());
    all
}

fn session() -> Vec<Example> {
    let ping = PingReply {
        boot_id: 0x5152_5354,
        rail_counter: 4,
        rail: RailState::On,
        rail_mv: Millivolts(3296),
        rail_min: Millivolts(3241),
        ready: false,
        write_locked: false,
        running: true,
        last_run: 78,
        last_status: 6,
        permit_s: 45,
        frames_good: 100_001,
        frames_damaged: 7,
        overruns: 2,
    };
    vec![
        ("hello", 0x11, Ask(Request::Hello(HelloRequest { major: 1, session: 0x1A2B_3C4D }))),
        ("hello-reply", 0x11, Answer(Reply::Hello(Box::new(hello())))),
        ("ping", 0x12, Ask(Request::Ping)),
        ("ping-reply", 0x12, Answer(Reply::Ping(ping))),
    ]
}

/// The board of the examples.
pub fn hello() -> HelloReply {
    let line = |name: &str, write_strobe, pulled_down| ControlLine {
        name: name.to_owned(),
        write_strobe,
        pulled_down,
    };
    HelloReply {
        major: 1,
        minor: 1,
        session: 0x1A2B_3C4D,
        boot_id: 0x5152_5354,
        rail_counter: 3,
        still_running_ms: 1500,
        firmware: "tideport 0.3".to_owned(),
        board: "tide board A".to_owned(),
        data_lines: 32,
        address_lines: 20,
        control: vec![
            line("OE", false, false),
            line("WE", true, false),
            line("CS0", false, false),
            line("CS1", false, true),
        ],
        data_path: DataPath::Directed,
        rails: vec![Millivolts(3300), Millivolts(5000)],
        io_high: Millivolts(3280),
        io_measured: true,
        input_max: Millivolts(5500),
        rail_limit_ma: 250,
        supply: Supply::Own,
        rail_sensed: true,
        sizes: Sizes {
            rx_body_max: 300,
            rx_queue_bytes: 512,
            tx_body_max: 1056,
            shape_slots: 8,
            script_slots: 2,
            script_bytes: 600,
            runs_remembered: 4,
            emit_remembered: 64,
        },
        clock_hz: 16_000_000,
        reset_rate: Baud(250_000),
        rates: vec![Baud(250_000), Baud(500_000), Baud(1_000_000)],
        shortest: times([63, 125, 64, 126, 188]),
        encodings: vec![Encoding::Raw.number(), Encoding::Runs.number()],
        previous_session: 0x0A0B_0C0D,
        previous_run: 77,
        previous_status: 5,
        atomic: AtomicTimes { operation: Nanos(12_500), cycle: Nanos(23_750) },
    }
}

const fn times([setup, pulse, hold, recover, release]: [u16; 5]) -> ShapeTimes {
    ShapeTimes { setup, pulse, hold, recover, release }
}

fn rate_and_rail() -> Vec<Example> {
    let rate = Baud(1_000_000);
    let on = RailRequest {
        action: RailAction::On,
        expected: Millivolts(3300),
        settle_ms: 200,
        floor: Millivolts(3000),
        shapes: 2,
    };
    let settled = RailReply {
        state: RailState::On,
        mv: Millivolts(3296),
        measured: true,
        rail_counter: 4,
        took_ms: 37,
    };
    vec![
        ("rate", 0x13, Ask(Request::Rate(RateRequest { rate }))),
        ("rate-reply", 0x13, Answer(Reply::Rate(RateReply { rate }))),
        ("rail-on", 0x14, Ask(Request::Rail(on))),
        ("rail-off", 0x15, Ask(Request::Rail(RailRequest::OFF))),
        ("rail-reply", 0x14, Answer(Reply::Rail(settled))),
    ]
}

fn shapes() -> Vec<Example> {
    let lines = |mask, level| Levels { mask, level };
    let idle = lines(0x000F, 0x0007);
    let store = Shape {
        width: Width::W16,
        first_line: 16,
        idle,
        read: Phases { setup: lines(8, 8), strobe: lines(1, 0) },
        write: Some(Phases { setup: lines(8, 8), strobe: lines(2, 0) }),
        times: times([70, 90, 20, 40, 60]),
    };
    let old = Shape {
        width: Width::W8,
        first_line: 0,
        idle,
        read: Phases { setup: lines(4, 0), strobe: lines(1, 0) },
        write: None,
        times: times([150, 155, 25, 45, 65]),
    };
    let used = times([125, 126, 64, 127, 188]);
    let ask = |id, shape| Ask(Request::Shape(ShapeRequest { id: ShapeId(id), shape }));
    vec![
        ("shape", 0x16, ask(1, store)),
        ("shape-read-only", 0x17, ask(2, old)),
        ("shape-reply", 0x16, Answer(Reply::Shape(ShapeReply { id: ShapeId(1), used }))),
    ]
}

/// The words of `read-raw-reply`, little-endian.
const WORDS: [u8; 8] = [0x22, 0x51, 0x44, 0x73, 0x00, 0x50, 0x88, 0x5F];

fn reads() -> Vec<Example> {
    let raw = ReadEcho {
        nonce: 0x1234,
        shape: ShapeId(1),
        address: WordAddress(0x1_2340),
        step: 1,
        count: 4,
        precharge: Precharge::None,
        encoding: Encoding::Raw.number(),
    };
    let runs = ReadEcho {
        nonce: 0x1235,
        address: WordAddress(0x7_E000),
        count: 200,
        precharge: Precharge::Ones,
        encoding: Encoding::Runs.number(),
        ..raw
    };
    let down = ReadEcho {
        nonce: 0x1236,
        shape: ShapeId(2),
        address: WordAddress(0x1FF),
        step: -1,
        count: 3,
        precharge: Precharge::Zeros,
        ..raw
    };
    let long = ReadEcho {
        nonce: 0x1237,
        shape: ShapeId(2),
        address: WordAddress(0x200),
        count: 300,
        ..raw
    };
    let mut folded = vec![0x02, 0x01, 0x04, 0x03, 0x06, 0x05];
    folded.resize(400, 0xFF);
    let plain = (0..300_u32).map(|i| (i % 255 + 1) as u8).collect();
    let ask = |echo| Ask(Request::Read(ReadRequest { echo }));
    let answer = |echo, payload| Answer(Reply::Read(ReadReply { echo, payload }));
    vec![
        ("read-raw", 0x20, ask(raw)),
        ("read-raw-reply", 0x20, answer(raw, WORDS.to_vec())),
        ("read-runs", 0x21, ask(runs)),
        ("read-runs-reply", 0x21, answer(runs, encode_runs(Width::W16, &folded))),
        ("read-down", 0x22, ask(down)),
        ("read-down-reply", 0x22, answer(down, vec![0xC3, 0xB2, 0xA1])),
        ("read-long-reply", 0x23, answer(long, plain)),
    ]
}

fn digests() -> Vec<Example> {
    let up = DigestRequest {
        nonce: 0x2345,
        shape: ShapeId(1),
        address: WordAddress(0x1_2340),
        step: 1,
        count: 4,
        precharge: Precharge::None,
    };
    let down = DigestRequest {
        nonce: 0x2346,
        address: WordAddress(0x1_2343),
        step: -1,
        precharge: Precharge::Ones,
        ..up
    };
    let answer = |echo, falling| {
        let digest = Digest::of(Width::W16, &WORDS, falling);
        Answer(Reply::Digest(DigestReply { echo, digest }))
    };
    vec![
        ("digest", 0x30, Ask(Request::Digest(up))),
        ("digest-reply", 0x30, answer(up, false)),
        ("digest-down", 0x31, Ask(Request::Digest(down))),
        ("digest-down-reply", 0x31, answer(down, true)),
    ]
}

fn others() -> Vec<Example> {
    let busy = Busy { of: Kind::DIGEST, id: 0x2345, done: 3, whole: 4 };
    let fault = |of, id, code, detail| Answer(Reply::Fault(Fault { of, id, code, detail }));
    let beyond = FaultCode::BEYOND_LINES;
    vec![
        ("stop", 0x32, Ask(Request::Stop)),
        ("stop-reply", 0x32, Answer(Reply::Stop(StopReply { within_ms: 40 }))),
        ("busy", 0x30, Answer(Reply::Busy(busy))),
        ("fault", 0x24, fault(Kind::READ, 0x1238, beyond, 0x12_3456)),
        ("fault-shape", 0x18, fault(Kind::SHAPE, 0, FaultCode::SHAPE_REFUSED, 0x0201)),
        ("fault-run", 0x34, fault(Kind::RUN, 85, FaultCode::NOT_NEXT_RUN, 82)),
        ("fault-unknown", 0x33, fault(Kind(0x10), 0, FaultCode::UNKNOWN_REQUEST, 0)),
    ]
}
