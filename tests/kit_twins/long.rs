//! What only shows after a long time: permits behind the clock's turn, a line that takes nothing.

use crate::support::kit::Kit;
use crate::{compare, program, simulated, talk};
use buswright::bus::script::Builder;
use buswright::bus::{
    Levels, Millivolts, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    FaultCode, HelloRequest, Mark, PermitRequest, RailAction, RailRequest, ReadEcho, ReadRequest,
    RepeatRequest, Reply, Request, RunId, RunRequest, ScriptRequest, ShapeRequest,
    encode_frame_after_idle,
};
use std::fmt::Write as _;

const RAM: ShapeId = ShapeId(1);

fn shape() -> Shape {
    let low = |mask| Levels { mask, level: 0 };
    Shape {
        width: Width::W32,
        first_line: 0,
        idle: Levels { mask: 15, level: 15 },
        read: Phases { setup: low(8), strobe: low(1) },
        write: Some(Phases { setup: low(8), strobe: low(2) }),
        times: ShapeTimes { setup: 70, pulse: 150, hold: 10, recover: 20, release: 60 },
    }
}

/// Up to a module under power.
fn powered() -> Vec<Request> {
    vec![
        Request::Hello(HelloRequest { major: 1, session: 7 }),
        Request::Shape(ShapeRequest { id: RAM, shape: shape() }),
        Request::Rail(RailRequest {
            action: RailAction::On,
            expected: Millivolts(3300),
            settle_ms: 50,
            floor: Millivolts(3000),
            shapes: 1,
        }),
    ]
}

/// A read that is made again and again, until STOP.
fn repeated(gap_us: u32) -> Request {
    Request::Repeat(RepeatRequest {
        id: RunId { session: 7, chain: 1, run: 1 },
        after: 0,
        shape: RAM,
        write: false,
        address: (WordAddress(3), 0),
        value: (0, 0),
        gap_us,
        count: 0,
        mark: Mark::None,
    })
}

/// A permit that ended during a REPEAT is over for good, though the clock turns before that ends.
#[test]
fn a_permit_that_is_over_stays_over() {
    let Some(kit) = Kit::export() else { return };
    let program = program(&kit);
    let bytes = Builder::new(RAM).write_b(0x55).script().unwrap().0;
    let script_crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes);
    let mut requests = powered();
    requests.push(Request::Script(ScriptRequest { slot: 0, bytes }));
    requests.push(Request::Permit(PermitRequest {
        shape: RAM,
        lines: false,
        seconds: 60,
        start: WordAddress(0),
        words: 0x100,
        lanes: u32::MAX,
        address_mask: 0,
        addresses: Vec::new(),
    }));
    requests.push(repeated(60_000_000));
    let mut at = Nanos::from_secs(1);
    let mut sent = Vec::new();
    let mut say = |at: Nanos, request: &Request| {
        let tag = sent.len() as u8;
        sent.push((at, request.encode(tag)));
    };
    for request in &requests {
        say(at, request);
        at += Nanos::from_millis(90);
    }
    // 2^31 us are over after 2148 s.
    while at < Nanos::from_secs(2_300) {
        at += Nanos::from_millis(4_500);
        say(at, &Request::Ping);
    }
    let run = Request::Run(RunRequest {
        id: RunId { session: 7, chain: 2, run: 2 },
        after: 1,
        slot: 0,
        script_crc,
        a: WordAddress(0),
        b: WordAddress(1),
        n: 1,
        lanes: u32::MAX,
        width: Width::W32,
        payload: Vec::new(),
    });
    for request in [Request::Stop, Request::Ping, run, Request::Ping] {
        at += Nanos::from_millis(90);
        say(at, &request);
    }
    compare(&program, &sent, "a permit");
    // The simulated side, which has answered alike.
    let replies = simulated(&sent);
    let replies: Vec<_> =
        replies.iter().map(|body| Reply::decode(body).unwrap().unwrap().1).collect();
    let [.., Reply::Ping(before), Reply::Fault(refused), Reply::Ping(_)] = &replies[..] else {
        panic!("{replies:?}")
    };
    assert_eq!((before.permit_s, refused.code), (0, FaultCode::NOT_PERMITTED));
}

fn line(input: &mut String, us: u64, body: &[u8]) {
    write!(input, "{us}").unwrap();
    for byte in encode_frame_after_idle(body) {
        write!(input, " {byte:02X}").unwrap();
    }
    input.push('\n');
}

/// A line that takes nothing any more, and a host that says nothing: the rail goes off all the same,
/// and what is said afterwards is heard again.
#[test]
fn a_line_that_takes_nothing_does_not_keep_the_rail_on() {
    let Some(kit) = Kit::export() else { return };
    let program = program(&kit);
    let echo = ReadEcho {
        nonce: 1,
        shape: RAM,
        address: WordAddress(0),
        step: 1,
        count: 250,
        precharge: Precharge::None,
        encoding: 0,
    };
    // Of the second one only BUSY is to be sent, until the ring is full.
    for work in [Request::Read(ReadRequest { echo }), repeated(100)] {
        for flows in [false, true] {
            let mut input = String::new();
            let mut at = 1_000_000;
            for (tag, request) in (0..).zip(powered()) {
                line(&mut input, at, &request.encode(tag));
                at += 90_000;
            }
            writeln!(input, "{at} stall").unwrap();
            // Several, so that they do not fit what is sent.
            for tag in 10..14 {
                line(&mut input, at + 10, &work.encode(tag));
            }
            if flows {
                writeln!(input, "{} flow", at + 7_000_000).unwrap();
                line(&mut input, at + 7_100_000, &Request::Ping.encode(77));
            }
            writeln!(input, "{}", at + 200_000_000).unwrap();
            let (out, books) = talk(&program, input);
            assert!(books.contains("rail off"), "{work:?}, {flows}: {books}");
            let answered = out.lines().any(|line| line.contains(" 82 4D "));
            assert_eq!(answered, flows, "PING is answered: {out}");
        }
    }
}
