//! The promise of what operations last inside `atomic` is true, and writes of a command or a page lie
//! close enough for a part that waits no longer than 150 us.

use crate::bench::{RAM, powered, run, store};
use crate::support::stepped::Stepped;
use buswright::bus::script::Builder;
use buswright::bus::{ShapeId, WordAddress};
use buswright::wire::{Reply, Request};

/// The write strobe, of the control lines.
const STROBE: u64 = 2;

type Operations = fn(Builder) -> Builder;

/// Cycles between each write and the next, of the run of this script.
fn gaps(host: &mut Stepped, id: &mut u32, script: Builder, payload: Vec<u32>) -> Vec<u64> {
    let checksum = store(host, 0, script);
    *id += 1;
    let since = host.now;
    let mut request = run(checksum, *id);
    request.payload = payload;
    let Reply::Run(reply) = host.ask(&Request::Run(request)) else { panic!("no RUN") };
    assert_eq!(reply.status, 0, "{reply:?}");
    let moves = host.moves();
    let mut at = Vec::new();
    let mut before = STROBE;
    for one in moves.iter().filter(|one| one.at > since) {
        if one.levels & STROBE == 0 && before != 0 {
            at.push(one.at);
        }
        before = one.levels & STROBE;
    }
    at.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

const EACH: &[(&str, Operations)] = &[
    ("step", |b| b.step(1)),
    ("a", |b| b.set_a(WordAddress(0x1234))),
    ("far a", |b| b.set_a(WordAddress(0x1_2345))),
    ("a from b", Builder::set_a_to_b),
    ("write", |b| b.write(WordAddress(0x5555), 0x1234_5678)),
    ("short write", |b| b.write(WordAddress(0x5555), 0x5678)),
    ("write at a", |b| b.write_a(0x1234_5678)),
    ("write at b", |b| b.write_b(0x1234_5678)),
    ("write payload, previous", |b| b.write_payload().previous()),
    ("a from payload, previous", |b| b.set_a_to_payload().previous()),
    ("next, previous", |b| b.next().previous()),
    ("read", |b| b.read(WordAddress(0x5555))),
    ("far read", |b| b.read(WordAddress(0x1_5555))),
    ("read at a", Builder::read_a),
    ("read, emit", |b| b.read_a().emit()),
    ("emit", |b| b.emit()),
    ("delay of nothing", |b| b.delay(0)),
    ("skip taken", |b| b.unless_d(0, 0, |b| b.step(1))),
    ("skip of two taken", |b| b.unless_d(0, 0, |b| b.step(1).step(1))),
    ("skip, step", |b| b.unless_d(1, 2, |b| b.step(1))),
    ("skip of the payload, step", |b| b.unless_payload(9, |b| b.step(1))),
    ("skip of the payload taken", |b| b.unless_payload(7, |b| b.step(1))),
    ("loop of 1 with step", |b| b.repeat(1, |b| b.step(1))),
    ("loop of 11 with step", |b| b.repeat(11, |b| b.step(1))),
];

#[test]
fn show() {
    let Some(mut host) = powered(16_000_000) else { return };
    let mut id = 0;
    let script = |operations: Operations, times: u32| {
        Builder::new(RAM)
            .set_a_to_b()
            .atomic(|b| {
                let b = b.write_b(7);
                (0..times).fold(b, |b, _| operations(b)).write_b(7)
            })
            .next()
    };
    if std::env::var("LISTED").is_ok() {
        host.ask(&Request::Permit(buswright::wire::PermitRequest {
            shape: RAM,
            lines: false,
            seconds: 600,
            start: WordAddress(0x8000),
            words: 1,
            lanes: u32::MAX,
            address_mask: 0xFF_FFFF,
            addresses: [1, 2, 3, 4, 5, 0x5555, 0, 0x40].map(WordAddress).to_vec(),
        }));
    }
    for (name, operations) in EACH {
        let none: u64 = gaps(&mut host, &mut id, script(*operations, 0), vec![7]).iter().sum();
        let four: u64 = gaps(&mut host, &mut id, script(*operations, 4), vec![7]).iter().sum();
        println!("{name}: {} ({none})", (four - none) / 4);
    }
    host.end();
}
