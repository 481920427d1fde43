//! Loops that the firmware translates: what a run leaves behind must not change the next one.

use crate::bench::{RAM, permit, powered, run, shape, store};
use crate::support::stepped::{Heard, Stepped};
use buswright::bus::WordAddress;
use buswright::bus::script::{Builder, Expect, Op, Wait, WaitKind};
use buswright::bus::{Shape, ShapeId, Width};
use buswright::wire::{
    FaultCode, PermitRequest, Reply, Request, RunReply, RunRequest, ShapeRequest,
};

/// Waits for what was written, or for what never comes.
fn wait(expect: Expect) -> Wait {
    let (lane, kind) = (Width::W16, WaitKind::Data);
    Wait { lane, kind, expect, at_b: false, fail: 0, timeout_ms: 3 }
}

/// A word of a loop that is translated.
fn word(b: Builder) -> Builder {
    b.critical(20, |b| b.write_payload().previous().wait(wait(Expect::Payload)).next())
}

/// The same behind another write, and not for a blank word.
fn unless_blank(b: Builder) -> Builder {
    let written =
        |b: Builder| b.write_b(0x00A0_00A0).write_payload().previous().wait(wait(Expect::Payload));
    b.unless_payload(u32::MAX, |b| b.critical(2, written)).next()
}

fn payload() -> Vec<u32> {
    (1..=4).map(|n| n * 0x1111_1111).collect()
}

#[track_caller]
fn done(host: &mut Stepped, request: &RunRequest) -> RunReply {
    let Reply::Run(reply) = host.ask(&Request::Run(request.clone())) else { panic!("no RUN") };
    reply
}

/// Runs of two scripts in turn, and nothing else: each ends by its own `finally`, also where a wait
/// fails.
#[test]
fn each_script_keeps_its_own_end() {
    let Some(mut host) = powered(16_000_000) else { return };
    let end = |b: Builder, at: u32| b.write(WordAddress(at), at);
    // The second has its `finally` where the first has something else, and no loop.
    let ones = Expect::Value { value: 0x1111_1111, mask: u32::MAX };
    let first = Builder::new(RAM)
        .set_a_to_b()
        .repeat_n(|b| b.critical(20, |b| b.write_payload().wait(wait(ones))).step(1))
        .write(WordAddress(0x100), 0x1111)
        .finally(|b| end(b, 0x102));
    let second = Builder::new(RAM).write_b(7).finally(|b| end(b, 0x103));
    let [one, two] = [(0, first), (1, second)].map(|(slot, b)| store(&mut host, slot, b));
    let mut id = 0;
    for word in [0x1111_1111, 0x1111_1111, 0x2222_2222] {
        for (slot, crc) in [(0, one), (1, two)] {
            id += 1;
            let mut request = RunRequest { slot, b: WordAddress(0x60), ..run(crc, id) };
            if slot == 0 {
                request = RunRequest { n: 4, payload: vec![word; 4], ..request };
            }
            // A run that did not end good ends the chain.
            request.id.chain = id as u16;
            let before = host.state().writes;
            let reply = done(&mut host, &request);
            let writes = host.state().writes - before;
            let good = match slot {
                0 if word == 0x1111_1111 => (0, 6),
                0 => (5, 2),
                _ => (0, 2),
            };
            assert_eq!((reply.status, writes), good, "{word:X} {request:?}: {reply:?}");
        }
        assert_eq!([0x102, 0x103].map(|word| host.ram(word)), [0x102, 0x103]);
    }
    host.end();
}

/// With the permit over nothing is written, whatever script ran before.
#[test]
fn a_translated_loop_needs_its_permit_in_each_run() {
    let Some(mut host) = powered(16_000_000) else { return };
    host.ask(&permit(2));
    // It writes at addresses of its own only, and the other writes nothing.
    let fixed =
        Builder::new(RAM).set_a_to_b().repeat_n(|b| b.atomic(|b| b.write(WordAddress(0x80), 9)));
    let [one, two] =
        [(0, fixed), (1, Builder::new(RAM).read_b())].map(|(slot, b)| store(&mut host, slot, b));
    assert_eq!(done(&mut host, &run(one, 1)).status, 0);
    assert_eq!(done(&mut host, &RunRequest { slot: 1, ..run(two, 2) }).status, 0);
    for _ in 0..3 {
        host.pass(1_000_000);
        host.ask(&Request::Ping);
    }
    let before = host.state().writes;
    let refused = host.refused(&Request::Run(run(one, 3)));
    assert_eq!((refused.code, host.state().writes), (FaultCode::NOT_PERMITTED, before));
    host.end();
}

/// A loop right behind the begin of an atomic stretch: a request to stop does not cut it, in the
/// second run either.
#[test]
fn an_atomic_loop_is_whole_in_every_run() {
    const N: u32 = 150;
    let Some(mut host) = powered(16_000_000) else { return };
    let script =
        Builder::new(RAM).set_a_to_b().atomic(|b| b.repeat_n(|b| b.write_payload().step(1)));
    let crc = store(&mut host, 0, script);
    for id in 1..=3 {
        let before = host.state().writes;
        let mut request = RunRequest { n: N, payload: vec![id; N as usize], ..run(crc, id) };
        // A request to stop ends the chain.
        request.id.chain = id as u16;
        let tag = host.send(&Request::Run(request));
        while host.state().writes == before {
            host.pass(20);
        }
        host.send(&Request::Stop);
        let Heard { reply: Reply::Run(reply), .. } = host.answer(tag) else { panic!("no RUN") };
        let written = host.state().writes - before;
        assert_eq!((reply.status, written), (0, u64::from(N)), "run {id}: {reply:?}");
    }
    host.end();
}

/// What stands before the loop holds behind it, too.
#[test]
fn the_rest_that_was_set_before_holds_in_every_run() {
    let Some(mut host) = powered(16_000_000) else { return };
    let script = Builder::new(RAM).rest(0xF0F0_F0F0);
    let script = script.set_a_to_b().repeat_n(|b| word(b).step(1));
    let script = script.finally(|b| b.op(Op::Lanes(0xFFFF)).write_b(0x99));
    let crc = store(&mut host, 0, script);
    for id in 1..=3 {
        let request = RunRequest { n: 4, payload: payload(), ..run(crc, id) };
        let reply = done(&mut host, &request);
        assert_eq!((reply.status, host.ram(0x40)), (0, 0xF0F0_0099), "run {id}: {reply:?}");
    }
    host.end();
}

/// A and D at the end are those of the interpreter, which makes the first run's first operations.
#[test]
fn a_and_d_are_as_if_each_operation_had_been_made() {
    let Some(mut host) = powered(16_000_000) else { return };
    let script = Builder::new(RAM).set_a_to_b().repeat_n(|b| unless_blank(b).step(1));
    let script = script.finally(|b| b.set_a_to_b().write_b(5));
    let crc = store(&mut host, 0, script);
    let mut words = payload();
    words.extend([u32::MAX; 3]);
    for id in 1..=3 {
        let request = RunRequest { n: 7, payload: words.clone(), ..run(crc, id) };
        let reply = done(&mut host, &request);
        let ends = (reply.status, reply.a, reply.d);
        assert_eq!(ends, (0, WordAddress(0x40), 0x4444_4444), "run {id}: {reply:?}");
    }
    // A word read before by a wider shape stays whole where the loop reads nothing.
    let wide = shape(RAM);
    let narrow = Shape { width: Width::W16, ..wide };
    let id = ShapeId(2);
    let reply = host.ask(&Request::Shape(ShapeRequest { id, shape: narrow }));
    assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    let Request::Permit(leave) = permit(600) else { panic!() };
    host.ask(&Request::Permit(PermitRequest { shape: id, lanes: 0xFFFF, ..leave }));
    let script = Builder::new(RAM).read_b().shape(id).set_a(WordAddress(0x200));
    let script = script.repeat_n(|b| b.critical(5, Builder::write_payload).step(1)).emit();
    let crc = store(&mut host, 0, script);
    let request =
        RunRequest { n: 4, payload: vec![7; 4], width: Width::W16, lanes: 0xFFFF, ..run(crc, 4) };
    let reply = done(&mut host, &request);
    assert_eq!((reply.status, &reply.emitted[..]), (0, &[host.ram(0x40)][..]), "{reply:?}");
    // Downwards past the first address A has all its bits.
    let down = Builder::new(RAM).set_a_to_b().repeat_n(|b| word(b).step(-1));
    let crc = store(&mut host, 0, down);
    for id in 5..=7 {
        let request = RunRequest { n: 4, b: WordAddress(3), payload: payload(), ..run(crc, id) };
        let reply = done(&mut host, &request);
        assert_eq!((reply.status, reply.a), (0, WordAddress(u32::MAX)), "run {id}: {reply:?}");
    }
    host.end();
}

/// Nor does a loop that waits for a chip keep the rail from being looked at.
#[test]
fn a_wait_in_a_translated_loop_lets_go_of_a_rail_that_sags() {
    for after in [40_000, 41_700, 43_100] {
        let Some(mut host) = powered(16_000_000) else { return };
        let never = Wait { timeout_ms: 100, ..wait(Expect::Value { value: 0, mask: u32::MAX }) };
        let script = Builder::new(RAM)
            .set_a_to_b()
            .repeat_n(|b| b.critical(200, |b| b.write_payload().wait(never)).step(1));
        let crc = store(&mut host, 0, script);
        let tag = host.send(&Request::Run(RunRequest { n: 4, payload: payload(), ..run(crc, 1) }));
        let at = host.now + host.cycles(after);
        host.order(&format!("supply {at} 2500"));
        let Heard { reply: Reply::Run(reply), .. } = host.answer(tag) else { panic!("no RUN") };
        let (on, off_at) = host.state().rail;
        let us = (off_at - at) * 1_000_000 / host.cycles(1_000_000);
        println!("rail off {us} us after it sagged in a wait");
        assert!(!on && us <= 5_000 && reply.status == 12, "{us} us, {reply:?}");
        host.end();
    }
}
