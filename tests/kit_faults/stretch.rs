//! What HELLO promises of operations inside `atomic` is true on the pins, and writes of a command or of
//! a page lie close enough for a part that waits no longer than 150 us.

use crate::bench::{
    RAM, RAM_WORDS, SESSION, greeted, hello, permit, powered, rail_on, run, shape, store,
};
use crate::support::stepped::Stepped;
use buswright::bus::script::Builder;
use buswright::bus::{Nanos, Width, WordAddress};
use buswright::wire::{PermitRequest, Reply, Request, RunRequest, ShapeRequest};

/// The write strobe, of the control lines.
const STROBE: u64 = 2;
/// How long a part waits for the next byte of a page.
const WINDOW: Nanos = Nanos::from_micros(150);

type Operations = fn(Builder) -> Builder;

/// So many operations and cycles: as many are counted, skipped ones included.
const EACH: &[(&str, u64, u64, Operations)] = &[
    ("step", 1, 0, |b| b.step(1)),
    ("a", 1, 0, |b| b.set_a(WordAddress(0x1234))),
    ("far a", 1, 0, |b| b.set_a(WordAddress(0x1_2345))),
    ("a from b", 1, 0, Builder::set_a_to_b),
    ("a from payload, previous", 2, 0, |b| b.set_a_to_payload().previous()),
    ("next, previous", 2, 0, |b| b.next().previous()),
    ("write", 1, 1, |b| b.write(WordAddress(0x5555), 0x1234_5678)),
    ("short write", 1, 1, |b| b.write(WordAddress(0x5555), 0x5678)),
    ("write at a", 1, 1, |b| b.write_a(0x1234_5678)),
    ("write at b", 1, 1, |b| b.write_b(0x1234_5678)),
    ("write payload, previous", 2, 1, |b| b.write_payload().previous()),
    ("read", 1, 1, |b| b.read(WordAddress(0x5555))),
    ("far read", 1, 1, |b| b.read(WordAddress(0x1_5555))),
    ("read at a", 1, 1, Builder::read_a),
    ("read at b", 1, 1, Builder::read_b),
    ("emit", 1, 0, Builder::emit),
    ("skip taken", 2, 0, |b| b.unless_d(0, 0, |b| b.step(1))),
    ("skip of four taken", 5, 0, |b| b.unless_d(0, 0, |b| b.step(1).step(1).step(1).step(1))),
    ("skip", 2, 0, |b| b.unless_d(1, 2, |b| b.step(1))),
    ("skip by the payload", 2, 0, |b| b.unless_payload(9, |b| b.step(1))),
    ("skip by the payload taken", 2, 0, |b| b.unless_payload(7, |b| b.step(1))),
    ("loop of 1", 3, 0, |b| b.repeat(1, |b| b.step(1))),
    ("loop of 11", 23, 0, |b| b.repeat(11, |b| b.step(1))),
];

/// Of everything that these tests write, in single addresses as far as there may be any.
fn narrow() -> Request {
    Request::Permit(PermitRequest {
        shape: RAM,
        lines: false,
        seconds: 600,
        start: WordAddress(RAM_WORDS - 1),
        words: 1,
        lanes: u32::MAX,
        address_mask: 0xFF_FFFF,
        addresses: [1, 2, 3, 4, 5, 0x5555, 0, 0x40].map(WordAddress).to_vec(),
    })
}

/// The time between each write and the next of this run, from strobe to strobe.
fn gaps(host: &mut Stepped, clock: u32, request: RunRequest) -> Vec<Nanos> {
    let since = host.now;
    let Reply::Run(reply) = host.ask(&Request::Run(request)) else { panic!("no RUN") };
    assert_eq!(reply.status, 0, "{reply:?}");
    let (mut at, mut before) = (Vec::new(), STROBE);
    for one in host.moves().iter().filter(|one| one.at > since) {
        if one.levels & STROBE == 0 && before != 0 {
            at.push(one.at);
        }
        before = one.levels & STROBE;
    }
    let time = |cycles: u64| Nanos(cycles * 1_000_000_000 / u64::from(clock));
    at.windows(2).map(|pair| time(pair[1] - pair[0])).collect()
}

#[test]
fn each_operation_lasts_no_longer_than_promised() {
    for clock in [16_000_000, 8_000_000] {
        let Some(mut host) = powered(clock) else { return };
        let promised = hello(&mut host, SESSION).atomic;
        let cycle = promised.cycle + shape(RAM).times.cycle();
        let mut id = 0;
        for addresses in [permit(600), narrow()] {
            let given = host.ask(&addresses);
            assert!(matches!(given, Reply::Permit(_)), "{given:?}");
            for (name, operations, cycles, body) in EACH {
                let mut gaps = |times: u32| {
                    let new = Builder::new(RAM).set_a_to_b().atomic(|b| {
                        let b = b.write_b(7);
                        (0..times).fold(b, |b, _| body(b)).write_b(7)
                    });
                    id += 1;
                    let request = run(store(&mut host, 0, new.next()), id);
                    gaps(&mut host, clock, RunRequest { payload: vec![7], ..request })
                };
                let each = if name.contains("write") {
                    // The longest of so many: once in a millisecond the rail is looked at.
                    gaps(35).into_iter().max().unwrap().0
                } else {
                    let [few, many] = [1, 5].map(|times| gaps(times)[0].0);
                    (many - few) / 4
                };
                let most = promised.operation * *operations + cycle * *cycles;
                println!("{clock}: {name}: {each} ns of {} ns", most.0);
                assert!(each <= most.0, "{name}: {each} ns");
            }
        }
        host.end();
    }
}

/// As a module with four chips is identified: what was written is read back, and each chip may have
/// taken it as data.
#[test]
fn writes_of_a_command_that_is_looked_after_lie_close() {
    let Some(mut host) = powered(16_000_000) else { return };
    let promised = hello(&mut host, SESSION).atomic;
    host.ask(&narrow());
    let guarded = |b: Builder, value: u32| {
        let lanes = [0xFF, 0xFF00, 0x00FF_0000, 0xFF00_0000];
        let b = b.write(WordAddress(0x5555), value).read(WordAddress(0x40)).emit();
        lanes.into_iter().rev().fold(b, |b, lane| {
            // Never so: all that follows is made.
            b.unless_d(lane, lane & 0x1111_1111, |b| b.step(0))
        })
    };
    let script = Builder::new(RAM).atomic(|b| {
        let b = guarded(guarded(b, 0xAAAA_AAAA), 0x5555_5555);
        b.write_b(0x9090_9090)
    });
    let request = run(store(&mut host, 0, script), 1);
    let gaps = gaps(&mut host, 16_000_000, request);
    let longest = *gaps.iter().max().unwrap();
    println!("writes of a command, looked after: {longest:?} apart at most");
    assert_eq!(gaps.len(), 2);
    let counted = promised.operation * 11 + (promised.cycle + shape(RAM).times.cycle()) * 2;
    assert!(longest <= counted && longest <= WINDOW, "{longest:?}, promised {counted:?}");
    host.end();
}

/// 256 bytes on eight lines, by the page programming of `chips::write`.
#[test]
fn a_page_of_256_bytes_is_loaded_without_a_pause() {
    let Some(mut host) = greeted(16_000_000) else { return };
    let mut narrow = shape(RAM);
    narrow.width = Width::W8;
    let defined = host.ask(&Request::Shape(ShapeRequest { id: RAM, shape: narrow }));
    assert!(matches!(defined, Reply::Shape(_)), "{defined:?}");
    rail_on(&mut host);
    let given = host.ask(&permit(600));
    assert!(matches!(given, Reply::Permit(_)), "{given:?}");
    let at = |b: Builder, value, address| b.write(WordAddress(address), value);
    let script = Builder::new(RAM).set_a_to_b().atomic(|b| {
        let b = at(at(at(b, 0xAA, 0x5555), 0x55, 0x2AAA), 0xA0, 0x5555);
        b.repeat(256 / 8, |b| (0..8).fold(b, |b, _| b.write_payload().step(1)))
    });
    let checksum = store(&mut host, 0, script);
    let payload: Vec<u32> = (0..256_u32).map(|n| (n * 7) & 0xFF).collect();
    // Another place in the adapter's memory each time: once its end lies within the page.
    for id in 1..=12 {
        let request = RunRequest {
            width: Width::W8,
            lanes: 0xFF,
            b: WordAddress(0x100),
            payload: payload.clone(),
            ..run(checksum, id)
        };
        let gaps = gaps(&mut host, 16_000_000, request);
        let longest = *gaps.iter().max().unwrap();
        println!("a page of 256 bytes: {longest:?} apart at most");
        assert_eq!(gaps.len(), 258);
        assert!(longest <= WINDOW, "{longest:?}");
        for (word, value) in (0x100..).zip(&payload) {
            assert_eq!(host.ram(word) & 0xFF, *value, "word {word:X}");
        }
    }
    host.end();
}
