//! What the checker promises of a script's time is true: an atomic stretch that is taken lasts no
//! longer than it may.

use crate::bench::{RAM, powered, run};
use crate::support::stepped::Stepped;
use buswright::bus::script::{Builder, Line, Sweep, SweepOp};
use buswright::bus::{Width, WordAddress};
use buswright::wire::{Reply, Request, ScriptRequest};

/// The longest atomic stretch of docs/script.md.
const ATOMIC_US: u32 = 20_000;

type Operations = fn(Builder) -> Builder;

/// Each operation, and those that belong together.
const EACH: &[(&str, Operations)] = &[
    ("loop", |b| b),
    ("step", |b| b.step(1)),
    ("a", |b| b.set_a(WordAddress(0x12_3456))),
    ("a from b", Builder::set_a_to_b),
    ("write", |b| b.write(WordAddress(0x5555), 0x1234_5678)),
    ("write at a", |b| b.write_a(0x1234_5678)),
    ("write at b", |b| b.write_b(0x1234_5678)),
    ("write n", |b| b.write_count(Width::W8)),
    ("write payload", |b| b.write_payload().previous()),
    ("a from payload", |b| b.set_a_to_payload().previous()),
    ("next", |b| b.next().previous()),
    ("read", |b| b.read(WordAddress(0x5555))),
    ("read at a", Builder::read_a),
    ("lanes and rest", |b| b.lanes(u32::MAX, 5)),
    ("delay of nothing", |b| b.delay(0)),
    ("delay", |b| b.delay(70)),
    ("mark", |b| b.line(Line::Mark, true)),
    ("skip", |b| b.unless_d(0, 0, |b| b.step(1).step(1).step(1))),
    ("skip of the payload", |b| b.unless_payload(7, |b| b.step(1))),
    ("ready", |b| b.ready(0)),
    ("wait", |b| b.next().wait_written(Width::W8, 0, 0).previous()),
    ("write and wait", |b| b.write_payload().wait_written(Width::W16, 0, 0).previous()),
    ("sweep", |b| b.sweep(Sweep::new(&[SweepOp::Write(false), SweepOp::Read(false)]).unwrap())),
];

fn stretch(times: u32, operations: Operations) -> Builder {
    // Waits for the payload's only word find it.
    Builder::new(RAM).write_a(7).atomic(|b| b.repeat(times, operations)).next()
}

/// The largest number of turns that the adapter takes.
fn most(host: &mut Stepped, operations: Operations) -> (u32, u32) {
    let (mut good, mut bad) = (0, 2_000);
    let mut checksum = 0;
    while bad - good > 1 {
        let times = u32::midpoint(good, bad);
        let bytes = stretch(times, operations).script().unwrap().0;
        match host.ask(&Request::Script(ScriptRequest { slot: 0, bytes })) {
            Reply::Script(stored) => (good, checksum) = (times, stored.crc),
            _ => bad = times,
        }
    }
    (good, checksum)
}

#[test]
fn no_atomic_stretch_that_is_taken_lasts_longer_than_it_may() {
    for clock in [16_000_000, 8_000_000] {
        let Some(mut host) = powered(clock) else { return };
        let (mut id, mut longest) = (0, 0);
        for (name, operations) in EACH {
            let (times, checksum) = most(&mut host, *operations);
            assert!(times > 5, "{name}: only {times} turns are taken");
            id += 1;
            let mut request = run(checksum, id);
            request.payload = vec![7];
            let Reply::Run(reply) = host.ask(&Request::Run(request)) else { panic!("{name}") };
            assert_eq!(reply.status, 0, "{name}: {reply:?}");
            println!("{clock}: {name}: {times} turns in {} us", reply.elapsed_us);
            longest = longest.max(reply.elapsed_us);
        }
        assert!(longest <= ATOMIC_US, "{longest} us");
        assert!(longest > ATOMIC_US / 4, "the promise is no more than careful: {longest} us");
        host.end();
    }
}
