//! Scripts with atomic stretches, which the C core makes in a way of its own (`core/stretch.c`), each
//! stored and run; and reads that show what they have left.

use buswright::bus::script::{Builder, LaneRule, Limits, SlotRule, check};
use buswright::bus::{
    Levels, Millivolts, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    HelloRequest, PermitRequest, RailAction, RailRequest, ReadEcho, ReadRequest, Request, RunId,
    RunRequest, ScriptRequest, ShapeRequest,
};

const SESSION: u32 = 7;
/// Of the RAM: all its lines, or some of them. Those that a write leaves to float differ.
const LINES: [(Width, u8); 6] = [
    (Width::W32, 0),
    (Width::W16, 0),
    (Width::W16, 16),
    (Width::W8, 0),
    (Width::W8, 8),
    (Width::W16, 7),
];
/// Shapes with these lines.
const SHAPES: u8 = 2;

fn low(mask: u16) -> Levels {
    Levels { mask, level: 0 }
}

/// Session, shapes, rail and permits; the requests that follow are pairs of SCRIPT and RUN, and READs.
pub fn requests(seed: u64, runs: u32) -> Vec<Request> {
    let mut rng = fastrand::Rng::with_seed(seed);
    let mut all = vec![Request::Hello(HelloRequest { major: 1, session: SESSION })];
    let (width, first_line) = *rng.choice(&LINES).unwrap();
    for id in 0..SHAPES {
        let shape = Shape {
            width,
            first_line,
            idle: Levels { mask: 15, level: 15 },
            read: Phases { setup: low(8), strobe: low(1) },
            write: (id == 0 || rng.bool()).then_some(Phases { setup: low(8), strobe: low(2) }),
            times: ShapeTimes { setup: 70, pulse: 150, hold: 10, recover: 20, release: 60 },
        };
        all.push(Request::Shape(ShapeRequest { id: ShapeId(id), shape }));
    }
    all.push(Request::Rail(RailRequest {
        action: RailAction::On,
        expected: Millivolts(3300),
        settle_ms: 50,
        floor: Millivolts(3000),
        shapes: SHAPES,
    }));
    for run in 1..=runs {
        if run % 8 == 1 {
            all.extend((0..SHAPES).map(|id| permit(&mut rng, id)));
        }
        all.extend(script_and_run(&mut rng, width, run));
        if run % 4 == 0 {
            let echo = ReadEcho {
                nonce: run as u16,
                shape: ShapeId(0),
                address: WordAddress(0),
                step: 1,
                count: 0x100,
                precharge: Precharge::None,
                encoding: 0,
            };
            all.push(Request::Read(ReadRequest { echo }));
        }
    }
    all
}

fn permit(rng: &mut fastrand::Rng, id: u8) -> Request {
    let start = rng.u32(..0x20);
    Request::Permit(PermitRequest {
        shape: ShapeId(id),
        lines: rng.bool(),
        seconds: if rng.u8(..12) == 0 { 0 } else { 600 },
        start: WordAddress(if rng.bool() { 0 } else { start }),
        words: *rng.choice(&[0x100, 0x100, 0xE0, 0x40, 0]).unwrap(),
        lanes: *rng.choice(&[u32::MAX, u32::MAX, u32::MAX, 0xFFFF, 0xFF]).unwrap(),
        address_mask: *rng.choice(&[0xFF_FFFF, 0xFF]).unwrap(),
        addresses: (0..rng.usize(..9)).map(|_| WordAddress(rng.u32(..0x100))).collect(),
    })
}

/// A script that is taken, as most are, and its run.
fn script_and_run(rng: &mut fastrand::Rng, width: Width, run: u32) -> [Request; 2] {
    loop {
        let id = u8::from(rng.u8(..8) == 0);
        let n = rng.u32(1..6);
        let mut builder = Builder::new(ShapeId(id));
        if rng.bool() {
            builder = builder.rest(rng.u32(..));
        }
        if rng.bool() {
            builder = builder.set_a_to_b();
        }
        for _ in 0..rng.u8(1..3) {
            builder = match rng.u8(..4) {
                0 => builder.repeat_n(|b| b.atomic(|b| operations(rng, b, 8, false))),
                1 => builder.atomic(|b| b.repeat_n(|b| operations(rng, b, 8, false))),
                _ => builder.atomic(|b| operations(rng, b, 16, false)),
            };
        }
        builder = builder.finally(|b| b.write_b(9));
        let Ok(script) = builder.script() else { continue };
        let rule = SlotRule { width, lanes: LaneRule::Rest };
        // Slower than both are.
        let (op, cycle) = (Nanos::from_micros(100), Nanos::from_micros(100));
        let limits =
            Limits { emitted: 200, op, cycle, ..Limits::with_shapes([rule; SHAPES as usize]) };
        let Ok(need) = check(&script, &limits).and_then(|checked| checked.need(n)) else {
            continue;
        };
        let words = [0, 1, 0x55, u32::MAX, 0x1234_5678];
        let payload =
            (0..need.payload).map(|_| *rng.choice(&words).unwrap() & width.ones()).collect();
        let place = RunId { session: SESSION, chain: run as u16, run };
        let request = RunRequest {
            id: place,
            after: run - 1,
            slot: 0,
            script_crc: super::random::checksum(&script.0),
            a: address(rng),
            b: address(rng),
            n,
            lanes: *rng.choice(&[u32::MAX, u32::MAX, u32::MAX, 0xFF, 0xFF00]).unwrap(),
            width,
            payload,
        };
        let store = Request::Script(ScriptRequest { slot: 0, bytes: script.0 });
        return [store, Request::Run(request)];
    }
}

/// Within the RAM, but for a few.
fn address(rng: &mut fastrand::Rng) -> WordAddress {
    let beyond = rng.u8(..60) == 0;
    WordAddress(if beyond { rng.u32(..) } else { rng.u32(..0xF0) })
}

/// Some operations; `skipped`: none that a skip may not pass over.
fn operations(rng: &mut fastrand::Rng, mut b: Builder, most: u8, skipped: bool) -> Builder {
    for _ in 0..rng.u8(1..=most) {
        b = match rng.u8(..if skipped { 11 } else { 26 }) {
            0 => b.write(address(rng), rng.u32(..) >> rng.u8(..32)),
            1 => b.write_a(rng.u32(..) >> rng.u8(..32)),
            2 => b.write_b(rng.u32(..) >> rng.u8(..32)),
            3 => b.read(address(rng)),
            4 => b.read_a(),
            5 => b.read_b(),
            6 => b.set_a(address(rng)),
            7 => b.set_a_to_b(),
            8 | 9 => b.step(rng.i16(-3..4)),
            10 => b.delay(rng.u32(..30)),
            11 | 12 => b.emit(),
            13..16 => b.write_payload(),
            16 => b.write_payload().previous().next(),
            17 => b.next(),
            18 if rng.u8(..8) == 0 => b.set_a_to_payload(),
            19 | 20 if most > 1 => b.repeat(rng.u32(1..5), |b| operations(rng, b, most / 2, false)),
            21 | 22 if most > 1 => {
                let (mask, value) = (rng.u32(..) & 3, rng.u32(..4));
                b.unless_d(mask, value, |b| operations(rng, b, most / 2, true))
            }
            23 if most > 1 => b
                .unless_payload(*rng.choice(&[0, 1, 0x55]).unwrap(), |b| {
                    operations(rng, b, most / 2, true)
                })
                .next(),
            24 if rng.u8(..6) == 0 => b.lanes(0xFFFF, rng.u32(..)),
            25 if rng.u8(..6) == 0 => b.wait_written(Width::W8, 0, 0),
            _ => b.read_a().emit(),
        };
    }
    b
}
