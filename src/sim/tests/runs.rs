//! SCRIPT, PERMIT and RUN on literal requests.

use super::run_host::*;
use super::*;
use crate::bus::script::{Builder, Expect, Line, Wait, WaitKind};
use crate::bus::{Word, crc32};
use crate::sim::{ActiveLine, Event};
use crate::wire::{Kind, PermitRequest, ScriptRequest};

#[test]
fn words_are_written_by_a_permitted_run_and_told() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let run = h.first(&copy(), &[0x11, 0x22, 0x33]);
    let reply = h.run(&run);
    assert_eq!((reply.status, reply.request_crc, reply.a), (0, run.crc(), WordAddress(0x103)));
    assert_eq!(h.written(), [(0x100, 0x11), (0x101, 0x22), (0x102, 0x33)]);
    // Two operations of 860 processor cycles at 16 MHz; of each word a write of 2,290, a step of 860,
    // the loop's end of 370, and 188 ns on the bus.
    assert_eq!(reply.elapsed_us, ((2 * 860 + 3 * 3_520) * 125 / 2 + 3 * 188) / 1_000);
    let ping = h.host.ping();
    assert_eq!((ping.last_run, ping.last_status, ping.permit_s), (1, 0, 60));
    let books = h.host.bench.adapter().books();
    assert_eq!((books.runs, books.runs_twice, books.words_written), (1, 0, 3));
    assert_eq!((books.ran[0].id, books.ran[0].status), (run.id, Some(0)));
}

#[test]
fn words_are_read_back_and_emitted() {
    let mut h = RunHost::new(|_| ());
    h.log.lock().unwrap().words.extend([(0x100, 7), (0x101, 8)]);
    let script = built(Builder::new(ShapeId(0)).repeat(2, |b| b.read_a().emit().step(1)).read_b());
    h.store(0, &script);
    let run = h.first(&script, &[]);
    let reply = h.run(&run);
    assert_eq!((reply.status, reply.emitted, reply.d), (0, vec![7, 8], u32::MAX));
    assert_eq!(h.host.bench.adapter().books().words_read, 3);
}

#[test]
fn scripts_are_checked_and_bad_ones_named_by_their_byte() {
    let mut h = RunHost::new(|_| ());
    let mut ask = |slot, bytes: &[u8]| {
        h.host.fault(&Request::Script(ScriptRequest { slot, bytes: bytes.to_vec() }))
    };
    assert_eq!(ask(8, &[0x10, 0]), (FaultCode::NO_SCRIPT, 0));
    assert_eq!(ask(0, &[]), (FaultCode::SCRIPT_REFUSED, 0));
    assert_eq!(ask(0, &[0x10, 0, 0xEE]), (FaultCode::SCRIPT_REFUSED, 2));
    assert_eq!(ask(0, &[0x10, 5]), (FaultCode::SCRIPT_REFUSED, 0), "no such shape");
    let long: Vec<u8> = [0x10, 0].into_iter().chain([0x44; 511]).collect();
    assert_eq!(ask(0, &long), (FaultCode::SCRIPT_REFUSED, 512));
    let sizes = h.host.hello(7).sizes;
    assert_eq!((sizes.script_slots, sizes.script_bytes, sizes.runs_remembered), (8, 512, 4));
    // 1,056 bytes of reply less 40 before the words.
    assert_eq!(sizes.emit_remembered, 254);
    let emits = |n| built(Builder::new(ShapeId(0)).read_a().repeat(n, Builder::emit));
    h.store(0, &emits(254));
    let bytes = emits(255).0;
    let refused = h.host.fault(&Request::Script(ScriptRequest { slot: 0, bytes }));
    assert_eq!(refused.0, FaultCode::SCRIPT_REFUSED);
    let run = h.first(&emits(254), &[]);
    assert_eq!(h.run(&run).emitted.len(), 254);
}

#[test]
fn what_does_not_fit_is_refused_and_uses_no_id() {
    let mut h = RunHost::permitted();
    let run = h.first(&copy(), &[1, 2]);
    assert_eq!(h.refused(&run), (FaultCode::NO_SCRIPT, 0));
    h.store(0, &copy());
    let other = crate::wire::RunRequest { script_crc: 5, ..run.clone() };
    assert_eq!(h.refused(&other), (FaultCode::OTHER_SCRIPT, crc32(&copy().0)));
    let short = crate::wire::RunRequest { payload: vec![1], ..run.clone() };
    assert_eq!(h.refused(&short), (FaultCode::PAYLOAD_MISFIT, 2));
    let none = crate::wire::RunRequest { n: 0, ..run.clone() };
    assert_eq!(h.refused(&none), (FaultCode::MALFORMED, 29));
    let none = crate::wire::RunRequest { lanes: 0, ..run.clone() };
    assert_eq!(h.refused(&none), (FaultCode::MALFORMED, 33));
    h.permit(&permit(0));
    assert_eq!(h.refused(&run), (FaultCode::NOT_PERMITTED, 0));
    h.permit(&permit(60));
    assert!(h.written().is_empty());
    assert_eq!(h.host.ping().last_run, 0);
    assert_eq!(h.run(&run).status, 0);
}

#[test]
fn a_permit_needs_its_shape_and_the_rail_and_ends_with_them() {
    let mut h = RunHost::new(|_| ());
    let ask = |h: &mut RunHost, permit: PermitRequest| h.host.fault(&Request::Permit(permit));
    let other = PermitRequest { shape: ShapeId(3), ..permit(9) };
    assert_eq!(ask(&mut h, other), (FaultCode::NO_SHAPE, 0));
    let beyond = PermitRequest { start: WordAddress(0xFF_FFFF), words: 2, ..permit(9) };
    assert_eq!(ask(&mut h, beyond), (FaultCode::BEYOND_LINES, 0x100_0000));
    let all = PermitRequest { address_mask: 0, addresses: vec![WordAddress(5)], ..permit(9) };
    assert_eq!(ask(&mut h, all), (FaultCode::MALFORMED, 18));
    h.permit(&permit(60));
    h.host.run_ms(2_500);
    assert_eq!(h.host.ping().permit_s, 58);
    // The same shape again leaves it, another one takes it.
    h.host.shape(0, records_shape());
    assert_eq!(h.host.ping().permit_s, 58);
    let mut slower = records_shape();
    slower.times.pulse = 300;
    h.host.shape(0, slower);
    assert_eq!(h.host.ping().permit_s, 0);
    h.permit(&permit(60));
    h.host.rail(RailRequest::OFF);
    assert_eq!(h.host.ping().permit_s, 0);
    assert_eq!(ask(&mut h, permit(9)), (FaultCode::RAIL_OFF, 0));
    h.host.rail_on(1);
    h.permit(&permit(60));
    h.host.hello(8);
    assert_eq!(h.host.ping().permit_s, 0);
    h.begin(9);
    h.permit(&permit(60));
    h.host.run_ms(5_500);
    assert_eq!(h.host.ping().permit_s, 0, "the dead-man");
    h.host.rail_on(1);
    h.permit(&permit(60));
    h.event(Nanos(1), Event::Sag(Millivolts(1_000)));
    h.host.run_ms(1);
    assert_eq!(h.host.ping().permit_s, 0);
    let run = h.first(&copy(), &[1]);
    h.host.rail_on(1);
    h.store(0, &copy());
    assert_eq!(h.refused(&run), (FaultCode::NOT_PERMITTED, 0));
    assert!(h.written().is_empty());
}

#[test]
fn address_and_lanes_are_looked_at_for_every_write_and_time_once() {
    let mut h = RunHost::new(|_| ());
    h.permit(&PermitRequest {
        start: WordAddress(0x100),
        words: 2,
        address_mask: 0x7FF,
        addresses: vec![WordAddress(0x555)],
        ..permit(60)
    });
    h.store(0, &copy());
    let run = h.first(&copy(), &[1, 2, 3]);
    let reply = h.run(&run);
    assert_eq!((reply.status, reply.a), (7, WordAddress(0x102)), "not-permitted");
    assert_eq!(h.written(), [(0x100, 1), (0x101, 2)]);
    let command =
        built(Builder::new(ShapeId(0)).write(WordAddress(0x8555), 4).write(WordAddress(0x8556), 5));
    h.store(0, &command);
    let run = h.first(&command, &[]);
    assert_eq!((h.run(&run).status, h.written().len()), (7, 3));
    // Lanes outside.
    h.permit(&PermitRequest { lanes: 0xFFFF, ..permit(60) });
    let low = built(Builder::new(ShapeId(0)).lanes(0xFF, 0xAA00).write(WordAddress(0), 6));
    h.store(0, &low);
    let run = h.first(&low, &[]);
    assert_eq!((h.run(&run).status, h.written().last().copied()), (0, Some((0, 0xAA06))));
    h.store(0, &copy());
    let run = h.next(&copy(), &[1]);
    assert_eq!(h.run(&run).status, 7);
    // A run that has begun keeps its permit to the end, the next one does not have it.
    h.permit(&permit(1));
    h.store(0, &slow(3_000));
    let run = h.first(&slow(3_000), &[]);
    assert_eq!(h.run(&run).status, 0);
    let run = h.next(&slow(3_000), &[]);
    assert_eq!(h.refused(&run), (FaultCode::NOT_PERMITTED, 0));
    assert_eq!(h.written()[4..], [(0x10, 1), (0x11, 2), (0x1F, 9)]);
}

#[test]
fn a_long_run_says_busy_and_its_slot_is_kept() {
    let mut h = RunHost::permitted();
    h.store(0, &slow(2_600));
    let run = h.first(&slow(2_600), &[]);
    let start = h.host.now;
    let tag = h.host.send(&Request::Run(run.clone()));
    h.host.run_ms(100);
    let ping = h.host.ping();
    assert_eq!((ping.running, ping.last_run, ping.last_status), (true, 1, 255));
    let other = Request::Script(ScriptRequest { slot: 0, bytes: copy().0 });
    let same = Request::Script(ScriptRequest { slot: 0, bytes: slow(2_600).0 });
    let elsewhere = Request::Script(ScriptRequest { slot: 1, bytes: copy().0 });
    let tags = [other, same, elsewhere].map(|ask| h.host.send(&ask));
    assert!(matches!(h.host.wait(tag), Reply::Run(reply) if reply.status == 0));
    let busy: Vec<_> = h
        .host
        .replies
        .iter()
        .filter(|(_, t, reply)| *t == tag && matches!(reply, Reply::Busy(_)))
        .map(|(at, ..)| at.since(start).as_millis())
        .collect();
    assert_eq!(busy.len(), 3, "{busy:?}");
    assert!((250..300).contains(&busy[0]), "{busy:?}");
    assert_eq!(h.host.fault_of(tags[0]), (FaultCode::SLOT_IN_USE, 0));
    assert!(matches!(h.host.wait(tags[1]), Reply::Script(_)));
    assert!(matches!(h.host.wait(tags[2]), Reply::Script(_)));
    // Now it may be replaced.
    h.store(0, &copy());
}

#[test]
fn a_script_is_looked_at_again_when_a_shape_has_changed() {
    let mut h = RunHost::permitted();
    let wide = built(Builder::new(ShapeId(0)).wait(Wait {
        lane: Width::W32,
        kind: WaitKind::Data,
        at_b: false,
        expect: Expect::Ones,
        fail: 0,
        timeout_ms: 1,
    }));
    h.store(0, &wide);
    h.host.shape(0, shape_of(Width::W16, CS1, true));
    let run = h.first(&wide, &[]);
    assert_eq!(h.refused(&run), (FaultCode::SCRIPT_REFUSED, 2));
}

#[test]
fn waits_poll_until_the_chip_is_ready() {
    let mut h = RunHost::new(|_| ());
    let wait = |expect| {
        let wait = Wait {
            lane: Width::W16,
            kind: WaitKind::Data,
            at_b: true,
            expect,
            fail: 0,
            timeout_ms: 20,
        };
        built(Builder::new(ShapeId(0)).wait(wait))
    };
    let script = wait(Expect::Value { value: 0x0001_0002, mask: u32::MAX });
    h.store(0, &script);
    h.log.lock().unwrap().fixed.insert(0x200, 0x0001_0003);
    let run = h.first(&script, &[]);
    let reply = h.run(&run);
    assert_eq!((reply.status, reply.lanes), (5, [2, 1, 0, 0]), "the low lane stands still");
    // It begins after 6,020 cycles, and the last poll takes two of 980.
    assert!((20_376..20_700).contains(&reply.elapsed_us), "{}", reply.elapsed_us);
    // The ready line is the socket's.
    let ready = built(Builder::new(ShapeId(0)).ready(5));
    h.log.lock().unwrap().not_ready = true;
    assert!(!h.host.ping().ready);
    h.store(0, &ready);
    let run = h.first(&ready, &[]);
    assert_eq!(h.run(&run).status, 6);
    h.log.lock().unwrap().not_ready = false;
    let run = h.first(&ready, &[]);
    assert_eq!(h.run(&run).status, 0);
}

#[test]
fn lines_beside_the_bus_are_there_if_the_board_names_them() {
    let line = |line| built(Builder::new(ShapeId(0)).line(line, true));
    let mut h = RunHost::permitted();
    for missing in [Line::Reset, Line::Protect, Line::Mark] {
        h.store(0, &line(missing));
        let run = h.first(&line(missing), &[]);
        assert_eq!(h.run(&run).status, 11, "no-line");
    }
    // Control line 2 is named by no shape here.
    let mut h = RunHost::new(|d| {
        d.adapter.reset = Some(ActiveLine { line: 2, high: false });
        d.adapter.mark = true;
    });
    h.store(0, &line(Line::Mark));
    let run = h.first(&line(Line::Mark), &[]);
    assert_eq!(h.run(&run).status, 0);
    h.store(0, &line(Line::Reset));
    let run = h.next(&line(Line::Reset), &[]);
    assert_eq!(h.run(&run).status, 7, "it needs a permit flagged lines");
    h.permit(&PermitRequest { lines: true, ..permit(60) });
    let run = h.first(&line(Line::Reset), &[]);
    assert_eq!(h.run(&run).status, 0);
    let last = |h: &RunHost| h.log.lock().unwrap().levels.last().copied();
    assert_eq!(last(&h), Some(Levels { mask: CS0, level: 0 }));
    h.host.rail(RailRequest::OFF);
    assert_eq!(last(&h), Some(Levels::default()), "let go with the rail");
}

#[test]
fn a_march_element_lists_what_it_found() {
    use crate::bus::script::{Sweep, SweepOp};
    let mut h = RunHost::permitted();
    let mut sweep = Sweep::new(&[SweepOp::Write(false), SweepOp::Read(false)]).unwrap();
    sweep.background = 0x55;
    let script = built(Builder::new(ShapeId(0)).sweep(sweep));
    h.store(0, &script);
    h.log.lock().unwrap().fixed.insert(0x20F, 0x54);
    let mut run = h.first(&script, &[]);
    run.n = 0x20;
    let reply = h.run(&run);
    assert_eq!((reply.status, reply.mismatches), (0, 1), "a result, no failure");
    assert_eq!(reply.listed, [(WordAddress(0x20F), 0x55, 0x54)]);
    assert_eq!(h.written().len(), 0x20);
}

#[test]
fn the_rail_is_needed_and_a_sag_ends_a_run_without_its_last_part() {
    let mut h = RunHost::permitted();
    h.store(0, &slow(100));
    let run = h.first(&slow(100), &[]);
    let next = h.next(&slow(100), &[]);
    let tag = h.host.send(&Request::Run(run));
    let waiting = h.host.send(&Request::Run(next));
    h.event(Nanos::from_millis(50), Event::Sag(Millivolts(1_000)));
    let reply = h.host.wait(tag);
    assert!(matches!(&reply, Reply::Run(reply) if reply.status == 12), "{reply:?}");
    assert_eq!(h.host.fault_of(waiting), (FaultCode::HALTED, 0));
    assert_eq!(h.written(), [(0x10, 1)]);
    assert_eq!(h.host.ping().last_status, 12);
    h.last = 1;
    let run = h.first(&slow(100), &[]);
    assert_eq!(h.refused(&run), (FaultCode::RAIL_SAGGED, 1_000));
    h.host.rail_on(1);
    h.permit(&permit(9));
    assert_eq!(h.run(&run).status, 0, "the refused run has not used its id");
}

#[test]
fn a_sag_at_a_cycle_comes_right_after_it_and_only_once() {
    let at_cycles = vec![(3, Event::Sag(Millivolts(0)))];
    let mut h = RunHost::new(|d| d.adapter.at_cycles.clone_from(&at_cycles));
    h.permit(&permit(60));
    h.store(0, &copy());
    let words: Vec<Word> = (1..=8).collect();
    let run = h.first(&copy(), &words);
    let reply = h.run(&run);
    assert_eq!(reply.status, 12, "power-lost");
    assert_eq!(h.written().len(), 3);
    let again = h.next(&copy(), &words);
    assert_eq!(h.refused(&again).0, FaultCode::NOT_NEXT_RUN, "its chain is halted");
    assert_eq!(h.host.ping().rail, RailState::Tripped);
    h.host.rail_on(1);
    h.permit(&permit(60));
    h.last = 1;
    let run = h.first(&copy(), &words);
    assert_eq!(h.run(&run).status, 0);
    assert_eq!(h.written().len(), 3 + 8);
}

#[test]
fn fields_beyond_what_a_body_holds_are_dropped_as_overlong() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let words: Vec<Word> = (0..256).collect();
    let run = h.first(&copy(), &words);
    assert!(Request::Run(run.clone()).encode(0).len() <= 1_100);
    assert_eq!(h.run(&run).status, 0);
    assert_eq!(h.written().len(), 256);
    assert_eq!(h.host.bench.adapter().books().requests(Kind::RUN), 1);
}

#[test]
fn a_restart_at_a_cycle_comes_right_after_it_and_only_once() {
    let at_cycles = vec![(3, Event::Reset)];
    let mut h = RunHost::new(|d| d.adapter.at_cycles.clone_from(&at_cycles));
    h.permit(&permit(60));
    h.store(0, &copy());
    let words: Vec<Word> = (1..=8).collect();
    let run = h.first(&copy(), &words);
    let tag = h.host.send(&Request::Run(run));
    h.host.run_ms(1_000);
    assert_eq!(h.written().len(), 3);
    assert!(h.host.replies.iter().all(|(_, told, _)| *told != tag), "nobody is there to tell it");
    assert_eq!(h.log.lock().unwrap().rail, Millivolts(0));
    assert_eq!(h.host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
    h.begin(8);
    h.permit(&permit(60));
    h.store(0, &copy());
    let run = h.first(&copy(), &words);
    assert_eq!(h.run(&run).status, 0);
    assert_eq!(h.written().len(), 3 + 8);
    assert_eq!(h.host.bench.adapter().books().resets, 1);
}

#[test]
fn a_cable_that_is_out_after_a_cycle_ends_no_run() {
    let at_cycles = vec![(3, Event::Unplug)];
    let mut h = RunHost::new(|d| d.adapter.at_cycles.clone_from(&at_cycles));
    h.permit(&permit(60));
    h.store(0, &copy());
    let words: Vec<Word> = (1..=8).collect();
    let run = h.first(&copy(), &words);
    let tag = h.host.send(&Request::Run(run));
    h.host.run_ms(1_000);
    assert!(h.host.bench.is_unplugged(h.host.now));
    assert!(h.host.replies.iter().all(|(_, told, _)| *told != tag));
    assert_eq!(h.written().len(), 8, "the run goes on without its host");
}
