//! A host that says nothing any more: after five seconds the bus is idle and the rail off.

use crate::bench::{
    RAM, SESSION, digest, greeted, hello, permit, ping, powered, rail_on, read, run, slow_rom,
    store,
};
use crate::support::stepped::{Heard, Move, State, Stepped};
use buswright::bus::script::{Builder, Line};
use buswright::bus::{Baud, WordAddress};
use buswright::wire::{
    BoardLine, FaultCode, HoldRequest, LineAction, LinesRequest, RailState, RateRequest, Reply,
    Request, RunId, encode_frame,
};

const DEAD_MAN_US: u64 = 5_000_000;
/// How exactly the adapter keeps its times.
const SLACK_US: u64 = 10_000;

/// Time goes on to just before the dead-man, and then past it. What is said meanwhile is no good
/// frame, so it does not put the dead-man off. Returns the cycle in which the rail went off, and all
/// that came in.
#[track_caller]
fn silence(host: &mut Stepped, within_us: u64) -> (u64, Vec<Heard>) {
    let since = last_byte(host);
    assert!(host.state().rail.0, "the rail is on");
    let mut came = Vec::new();
    let early = since + host.cycles(DEAD_MAN_US - 1_000);
    while host.now < early {
        host.say(&[0, 3, 0x55, 0x55, 0]);
        host.say(&encode_frame(&[0x82, 9, 1, 2, 3, 4]));
        let left = (early - host.now).min(host.cycles(500_000));
        host.pass_to(host.now + left);
    }
    came.extend(std::iter::from_fn(|| host.hear(0)));
    assert!(host.state().rail.0, "the dead-man came before its time");
    host.pass(1_000 + within_us + SLACK_US);
    came.extend(std::iter::from_fn(|| host.hear(0)));
    let (on, at) = host.state().rail;
    assert!(!on, "the rail is on {} us after the last good frame", host.us_since(since));
    let us = (at - since) * 1_000_000 / host.cycles(1_000_000);
    println!("rail off {us} us after the last good frame");
    assert!((DEAD_MAN_US..=DEAD_MAN_US + within_us + SLACK_US).contains(&us), "{us}");
    (at, came)
}

/// The last good frame has come: everything said is with the controller.
#[track_caller]
fn last_byte(host: &mut Stepped) -> u64 {
    while host.state().coming > 0 {
        host.pass(10);
    }
    host.state().came_at
}

/// Off in the order of the text: idle levels, data and address lines let go, the switch, the control
/// lines; and no control line is ever driven low from the idle levels on.
#[track_caller]
fn assert_order(moves: &[Move]) {
    let off = moves.iter().rposition(|step| step.rail).unwrap();
    let before = moves[off];
    assert_eq!((before.control, before.levels), (15, 15), "idle levels: {before:?}");
    assert_eq!((before.data, before.address), (0, 0), "data and address lines: {before:?}");
    let after = moves[off + 1];
    assert_eq!((after.rail, after.control, after.levels), (false, 15, 15), "{after:?}");
    let last = moves[moves.len() - 1];
    assert_eq!((last.data, last.address, last.control), (0, 0, 0), "{last:?}");
    let late = &moves[off + 1..];
    assert!(late.iter().all(|step| step.control & !step.levels == 0), "driven low: {late:?}");
}

#[track_caller]
fn assert_bare(state: &State) {
    assert_eq!((state.driven, state.pulled), ([0; 3], [0; 3]), "every line is let go");
}

/// What the next host, or the same one that is back, finds.
#[track_caller]
fn assert_ended(host: &mut Stepped, switched: u32) {
    assert_bare(&host.state());
    // The rig's rail takes 20 ms to fall.
    host.pass(30_000);
    let back = hello(host, SESSION);
    assert_eq!(back.rail_counter, switched, "it was switched off once");
    let said = ping(host);
    assert_eq!((said.rail, said.permit_s), (RailState::Off, 0), "{said:?}");
    assert_eq!(host.refused(&read(99, 0, 1)).code, FaultCode::RAIL_OFF);
}

/// Marks a word of the RAM again and again, and another one in its `finally`.
fn long_run() -> Builder {
    let main = Builder::new(RAM).line(Line::Mark, true);
    let main = main.repeat(60_000, |b| b.write_a(0x1111_1111).step(1).delay(1_000));
    main.finally(|b| b.write(WordAddress(0xFFFF), 0x2222_2222).line(Line::Mark, false))
}

#[test]
fn a_run_is_stopped_its_finally_made_and_the_rail_off() {
    let Some(mut host) = powered(16_000_000) else { return };
    let crc = store(&mut host, 0, long_run());
    let before = host.state().writes;
    let running = host.send(&Request::Run(run(crc, 1)));
    let waiting = host.send(&read(4, 0, 10));
    let (off, came) = silence(&mut host, 2_000);
    assert_order(&host.moves());
    let state = host.state();
    assert!(!state.mark, "`finally` was made");
    assert_eq!(host.ram(0xFFFF), 0x2222_2222, "`finally` was made");
    let writes = u32::try_from(state.writes - before).unwrap();
    assert!((3_000..5_000).contains(&writes), "{writes} in 5 s");

    let answer = came.iter().find(|heard| heard.tag == running && is_last(heard)).unwrap();
    let Reply::Run(reply) = &answer.reply else { panic!("{answer:?}") };
    assert_eq!((reply.status, reply.a), (2, WordAddress(writes - 1)), "dead-man: {reply:?}");
    let busy = came.iter().filter(|heard| heard.tag == running && !is_last(heard));
    assert!((5..=6).contains(&busy.count()), "after 250 ms, and about every second");
    let fault = came.iter().find(|heard| heard.tag == waiting).unwrap();
    let Reply::Fault(fault) = &fault.reply else { panic!("{fault:?}") };
    assert_eq!((fault.code, fault.id), (FaultCode::HALTED, 4), "it waited");

    assert_ended(&mut host, 1);
    assert!(off < host.now);
    assert_eq!(host.state().writes - before, u64::from(writes), "nothing goes on");
    // The chain is halted: the next of it is not made, the reply of the last is remembered.
    let mut next = run(crc, 2);
    assert_eq!(host.refused(&Request::Run(next.clone())).code, FaultCode::NOT_NEXT_RUN);
    let Reply::Run(again) = host.ask(&Request::Run(run(crc, 1))) else { panic!() };
    assert_eq!(again, *reply);
    (next.id.chain, next.id.run) = (2, 2);
    assert_eq!(host.refused(&Request::Run(next)).code, FaultCode::RAIL_OFF);
    host.end();
}

fn is_last(heard: &Heard) -> bool {
    !matches!(heard.reply, Reply::Busy(_))
}

#[test]
fn a_rail_that_is_on_with_a_permit_goes_off() {
    let Some(mut host) = powered(8_000_000) else { return };
    assert!(ping(&mut host).permit_s > 590);
    let (_, came) = silence(&mut host, 0);
    assert!(came.is_empty(), "{came:?}");
    assert_order(&host.moves());
    assert_ended(&mut host, 1);
    // With the rail on again the permit does not come back.
    rail_on(&mut host);
    assert_eq!(ping(&mut host).permit_s, 0);
    let crc = store(&mut host, 0, Builder::new(RAM).write_a(1));
    assert_eq!(host.refused(&Request::Run(run(crc, 1))).code, FaultCode::NOT_PERMITTED);
    host.end();
}

#[test]
fn a_checksum_at_work_is_halted() {
    let Some(mut host) = powered(16_000_000) else { return };
    let tag = host.send(&digest(5, 3, u32::MAX));
    let (_, came) = silence(&mut host, 0);
    assert_order(&host.moves());
    let last = came.iter().rfind(|heard| heard.tag == tag).unwrap();
    let Reply::Fault(fault) = &last.reply else { panic!("{last:?}") };
    assert_eq!(fault.code, FaultCode::HALTED);
    assert_ended(&mut host, 1);
    host.end();
}

#[test]
fn a_held_cycle_and_driven_lines_are_let_go() {
    for write in [false, true] {
        let Some(mut host) = powered(16_000_000) else { return };
        let mut id = RunId { session: 0, chain: 0, run: 0 };
        if write {
            id = RunId { session: SESSION, chain: 1, run: 1 };
        }
        let value = if write { 0x0F0F_5511 } else { 0 };
        let request =
            HoldRequest { id, after: 0, shape: RAM, write, address: WordAddress(9), value };
        let reply = host.ask(&Request::Hold(request));
        assert!(matches!(reply, Reply::Hold(_)), "{reply:?}");
        let held = host.state();
        let all = u64::from(u32::MAX);
        assert_eq!(held.driven, [if write { all } else { 0 }, 0xFF_FFFF, 15]);
        silence(&mut host, 0);
        assert_order(&host.moves());
        assert_ended(&mut host, 1);
        assert_eq!(host.ram(9), if write { 0x0F0F_5511 } else { 0 }, "ended as any other cycle");
        host.end();
    }
    let Some(mut host) = powered(16_000_000) else { return };
    let set = vec![
        (BoardLine::Data(3), LineAction::High),
        (BoardLine::Data(9), LineAction::PullUp),
        (BoardLine::Address(20), LineAction::Low),
        (BoardLine::Control(0), LineAction::Low),
    ];
    let reply = host.ask(&Request::Lines(LinesRequest { hold_ms: 60_000, set }));
    assert!(matches!(reply, Reply::Lines(_)), "{reply:?}");
    let held = host.state();
    assert_eq!((held.driven, held.pulled), ([8, 1 << 20, 15], [1 << 9, 0, 0]));
    silence(&mut host, 0);
    assert_order(&host.moves());
    assert_ended(&mut host, 1);
    host.end();
}

/// Good frames put it off, one byte before the time is over; and it does not count while the rail is
/// off.
#[test]
fn each_good_frame_begins_the_time_anew() {
    let Some(mut host) = greeted(8_000_000) else { return };
    host.pass(7_000_000);
    rail_on(&mut host);
    for request in [Request::Ping, permit(0), Request::Stop, read(3, 0, 1)] {
        host.pass(DEAD_MAN_US - 20_000);
        assert!(host.state().rail.0);
        host.ask(&request);
    }
    // A kind that is not known is a good frame, too.
    host.pass(DEAD_MAN_US - 20_000);
    host.say(&encode_frame(&[0x33, 9]));
    host.pass(100_000);
    assert!(host.state().rail.0);
    silence(&mut host, 0);
    host.end();
}

/// Whatever it is at: bits of work that last as long as the adapter's own looks at its clock must not
/// keep it from looking.
#[test]
fn no_length_of_atomic_stretches_keeps_the_dead_man_off() {
    for us in (8_080..8_200).step_by(20).chain((16_260..16_400).step_by(20)) {
        let Some(mut host) = powered(16_000_000) else { return };
        let script = Builder::new(RAM).repeat(30_000, |b| b.atomic(|b| b.delay(us)));
        let crc = store(&mut host, 0, script);
        host.send(&Request::Run(run(crc, 1)));
        println!("stretches of {us} us");
        silence(&mut host, 2 * u64::from(us));
        host.end();
    }
}

/// A line that is never silent, and says nothing: noise of a cable that is out, say.
#[test]
fn noise_that_never_ends_does_not_keep_the_dead_man_off() {
    for (baud, seed) in [(250_000, 71), (1_000_000, 72)] {
        let Some(mut host) = powered(16_000_000) else { return };
        let mut rng = fastrand::Rng::with_seed(seed);
        host.ask(&Request::Rate(RateRequest { rate: Baud(baud) }));
        let crc = store(&mut host, 0, long_run());
        host.send(&Request::Run(run(crc, 1)));
        let since = last_byte(&mut host);
        let bytes_us = 10_000_000 / u64::from(baud);
        while host.now < since + host.cycles(DEAD_MAN_US + SLACK_US + 2_000) {
            let noise: Vec<u8> = (0..1_000).map(|_| rng.u8(..)).collect();
            host.say(&noise);
            host.pass(1_000 * bytes_us);
        }
        let (on, at) = host.state().rail;
        assert!(!on, "at {baud} baud the rail is on");
        let us = (at - since) * 1_000_000 / host.cycles(1_000_000);
        println!("at {baud} baud the rail went off after {us} us");
        assert!((DEAD_MAN_US..=DEAD_MAN_US + 2_000 + SLACK_US).contains(&us), "{us}");
        assert_order(&host.moves());
        assert_eq!(host.ram(0xFFFF), 0x2222_2222, "`finally` was made");
        host.end();
    }
}

/// Cycles as slow as a shape can make them: bits of work that last as long as the adapter's looks at
/// its clock are apart.
#[test]
fn slow_shapes_do_not_keep_the_dead_man_off() {
    for pulse in (24_000..=44_000).step_by(2_000) {
        let Some(mut host) = powered(16_000_000) else { return };
        slow_rom(&mut host, pulse);
        host.send(&digest(5, 3, u32::MAX));
        println!("strobe of {pulse} ns");
        silence(&mut host, 5_000);
        host.end();
    }
}
