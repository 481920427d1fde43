//! HOLD and REPEAT.

use super::run_host::*;
use super::*;
use crate::wire::{HoldRequest, Mark, PermitRequest, RepeatReply, RepeatRequest, RunId};

const NOTHING: RunId = RunId { session: 0, chain: 0, run: 0 };

fn id(chain: u16, run: u32) -> RunId {
    RunId { session: 7, chain, run }
}

fn hold(address: u32) -> HoldRequest {
    HoldRequest {
        id: NOTHING,
        after: 0,
        shape: ShapeId(0),
        write: false,
        address: WordAddress(address),
        value: 0,
    }
}

fn repeat(id: RunId, after: u32, write: bool, count: u32) -> RepeatRequest {
    RepeatRequest {
        id,
        after,
        shape: ShapeId(0),
        write,
        address: (WordAddress(0x40), 3),
        value: (0x55, u32::MAX),
        gap_us: 0,
        count,
        mark: Mark::None,
    }
}

fn ask(h: &mut RunHost, request: RepeatRequest) -> RepeatReply {
    match h.host.ask(&Request::Repeat(request)) {
        Reply::Repeat(reply) => reply,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_held_read_needs_no_id_and_lasts_until_something_moves_the_bus() {
    let mut h = RunHost::new(|_| ());
    h.log.lock().unwrap().words.insert(0x30, 0xABC);
    let reply = h.host.ask(&Request::Hold(hold(0x30)));
    let Reply::Hold(reply) = reply else { panic!("{reply:?}") };
    assert_eq!((reply.echo, reply.data), (hold(0x30), 0xABC));
    h.host.ping();
    assert!(h.host.bench.adapter().is_holding());
    let ends: [fn(&mut RunHost); 5] = [
        |h| {
            h.host.ask(&Request::Stop);
        },
        |h| {
            h.host.read(echo(0, 0, 1));
        },
        |h| {
            h.host.rail(RailRequest::OFF);
        },
        |h| h.host.run_ms(5_100),
        |h| {
            h.host.hello(8);
        },
    ];
    for end in ends {
        if !h.host.bench.adapter().rail_is_on() {
            h.host.rail_on(1);
        }
        assert!(matches!(h.host.ask(&Request::Hold(hold(0x30))), Reply::Hold(_)));
        assert!(h.host.bench.adapter().is_holding());
        end(&mut h);
        assert!(!h.host.bench.adapter().is_holding());
    }
    let odd = HoldRequest { value: 1, ..hold(0) };
    assert_eq!(h.host.fault(&Request::Hold(odd)), (FaultCode::MALFORMED, 2));
}

#[test]
fn a_held_write_is_a_run_and_needs_leave() {
    let mut h = RunHost::new(|_| ());
    let write = HoldRequest { id: id(1, 1), write: true, value: 0x77, ..hold(0x30) };
    let request = Request::Hold(write);
    assert_eq!(h.host.fault(&request), (FaultCode::NOT_PERMITTED, 0x30));
    h.permit(&PermitRequest { start: WordAddress(0x31), ..permit(9) });
    assert_eq!(h.host.fault(&request), (FaultCode::NOT_PERMITTED, 0x30));
    h.permit(&permit(9));
    assert!(matches!(h.host.ask(&request), Reply::Hold(reply) if reply.data == 0x77));
    assert!(matches!(h.host.ask(&request), Reply::Hold(_)), "remembered");
    assert_eq!(h.written(), [(0x30, 0x77)]);
    assert_eq!((h.host.ping().last_run, h.host.ping().last_status), (1, 0));
    let same = HoldRequest { value: 0x78, ..write };
    assert_eq!(h.host.fault(&Request::Hold(same)), (FaultCode::NOT_NEXT_RUN, 1));
    h.host.ask(&Request::Stop);
    let next = HoldRequest { id: id(1, 2), after: 1, ..write };
    assert_eq!(h.host.fault(&Request::Hold(next)), (FaultCode::NOT_NEXT_RUN, 1), "halted");
    let new = HoldRequest { id: id(2, 2), after: 1, ..write };
    assert!(matches!(h.host.ask(&Request::Hold(new)), Reply::Hold(_)));
    assert_eq!(h.written().len(), 2);
}

#[test]
fn a_repeated_write_walks_address_and_value_and_is_made_once() {
    let mut h = RunHost::permitted();
    let request = repeat(id(1, 1), 0, true, 3);
    let reply = ask(&mut h, request);
    assert_eq!((reply.status, reply.done, reply.last), (0, 3, 0x55));
    assert_eq!(ask(&mut h, request), reply);
    assert_eq!(h.written(), [(0x40, 0x55), (0x43, 0xFFFF_FFAA), (0x40, 0x55)]);
    // It stops where the permit ends.
    h.permit(&PermitRequest { start: WordAddress(0x40), words: 3, ..permit(9) });
    let reply = ask(&mut h, repeat(id(1, 2), 1, true, 9));
    assert_eq!((reply.status, reply.done), (7, 1));
    h.permit(&permit(0));
    let refused = h.host.fault(&Request::Repeat(repeat(id(2, 3), 2, true, 9)));
    assert_eq!(refused, (FaultCode::NOT_PERMITTED, 0x40));
    let marked = RepeatRequest { mark: Mark::Strobe, ..repeat(id(2, 3), 2, false, 9) };
    let refused = h.host.fault(&Request::Repeat(marked));
    assert_eq!(refused, (FaultCode::LINE_REFUSED, 0x203), "no mark line");
    let beyond =
        RepeatRequest { address: (WordAddress(0), 0x100_0000), ..repeat(id(2, 3), 2, false, 9) };
    let refused = h.host.fault(&Request::Repeat(beyond));
    assert_eq!(refused, (FaultCode::BEYOND_LINES, 0x100_0000));
}

#[test]
fn a_repeat_without_count_goes_on_until_stop() {
    let mut h = RunHost::new(|_| ());
    let endless = RepeatRequest { gap_us: 100_000, ..repeat(id(1, 1), 0, false, 0) };
    let tag = h.host.send(&Request::Repeat(endless));
    for _ in 0..20 {
        h.host.run_ms(500);
        assert!(h.host.ping().running);
    }
    let reply = h.host.ask(&Request::Stop);
    assert!(matches!(reply, Reply::Stop(stop) if stop.within_ms == 1), "{reply:?}");
    let reply = h.host.wait(tag);
    let Reply::Repeat(reply) = reply else { panic!("{reply:?}") };
    assert_eq!(reply.status, 1);
    assert!((95..=105).contains(&reply.done), "{reply:?}");
    assert_eq!(h.host.bench.adapter().books().words_read, u64::from(reply.done));
}
