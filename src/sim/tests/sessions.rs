//! Sessions, what is answered at once, and what is refused.

use super::*;
use crate::sim::{Event, HostViolation};
use crate::wire::Kind;

#[test]
fn before_hello_everything_else_is_refused() {
    let mut host = Host::new();
    for request in [Request::Ping, Request::Stop, read(0, 0, 1), Request::Rail(RailRequest::OFF)] {
        assert_eq!(host.fault(&request), (FaultCode::NO_SESSION, 0), "{request:?}");
    }
    let books = host.bench.adapter().books();
    assert_eq!(books.violations[0].1, HostViolation::NoSession(Kind::PING));
    assert_eq!((books.violation_count, books.faults(FaultCode::NO_SESSION)), (4, 4));
}

#[test]
fn another_major_number_gets_an_answer_and_no_session() {
    let mut host = Host::edited("TG-7", |d| d.adapter.major = 2);
    assert_eq!(host.hello(1).major, 2);
    assert_eq!(host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
    // A later protocol's HELLO may be longer.
    let mut host = Host::new();
    host.send_body(&[0x01, 200, 2, 1, 0, 0, 0, 9, 9, 9]);
    let reply = host.wait(200);
    assert!(matches!(&reply, Reply::Hello(about) if about.major == 1), "{reply:?}");
    assert_eq!(host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
}

#[test]
fn the_same_session_changes_nothing_and_another_clears_the_shapes() {
    let mut host = Host::ready();
    assert_eq!(host.hello(7).previous_session, 0);
    assert_eq!(host.read(echo(0, 0, 4)).len(), 16);
    assert_eq!(host.hello(8).previous_session, 7);
    assert_eq!(host.fault(&read(0, 0, 4)), (FaultCode::NO_SHAPE, 0));
    // The rail stays, and so do the levels held since it rose.
    assert_eq!(host.ping().rail, RailState::On);
    let mut bad = store_shape();
    bad.idle.level &= !CS0;
    let refused = host.fault(&Request::Shape(ShapeRequest { id: ShapeId(0), shape: bad }));
    assert_eq!(refused, (FaultCode::SHAPE_REFUSED, 6));
}

#[test]
fn ping_is_answered_while_a_digest_is_in_work() {
    let mut host = Host::ready();
    let long = host.send(&digest(0, 0, 0x8_0000));
    host.run_ms(600);
    let ping = host.ping();
    assert!(ping.running);
    assert!(host.now < Nanos::from_secs(1), "{:?}", host.now);
    assert!(matches!(host.wait(long), Reply::Digest(_)));
    assert!(!host.ping().running);
}

#[test]
fn a_long_request_says_busy_about_once_a_second() {
    let mut host = Host::ready();
    let long = host.send(&digest(0, 0, 0x8_0000));
    let start = host.now;
    let reply = host.wait(long);
    assert!(matches!(reply, Reply::Digest(_)));
    let busy: Vec<_> = host
        .replies
        .iter()
        .filter_map(|(at, tag, reply)| match reply {
            Reply::Busy(busy) if *tag == long => Some((at.since(start).as_millis(), busy)),
            _ => None,
        })
        .collect();
    // 524,288 words x 121 cycles at 16 MHz are 3.96 s.
    assert_eq!(host.now.since(start).as_millis() / 100, 39);
    assert_eq!(busy.len(), 4);
    assert!((250..300).contains(&busy[0].0));
    assert!(busy.windows(2).all(|two| two[1].0 - two[0].0 == 1_000));
    assert!(busy.windows(2).all(|two| two[1].1.done > two[0].1.done));
    assert!(busy.iter().all(|(_, busy)| busy.id == 9 && busy.whole == 0x8_0000));
}

#[test]
fn stop_ends_a_digest_and_empties_the_queue() {
    let mut host = Host::ready();
    let long = host.send(&digest(0, 0, 0x8_0000));
    let waiting = [host.send(&read(0, 0, 4)), host.send(&digest(0, 0, 4))];
    let off = host.send(&Request::Rail(RailRequest::OFF));
    let given = host.send(&Request::Shape(ShapeRequest { id: ShapeId(5), shape: store_shape() }));
    host.run_ms(300);
    let reply = host.ask(&Request::Stop);
    let Reply::Stop(stop) = reply else { panic!("{reply:?}") };
    // A slice of 256 words at 121 cycles is 2 ms.
    assert!((1..=2).contains(&stop.within_ms), "{stop:?}");
    assert_eq!(host.fault_of(long), (FaultCode::HALTED, 0));
    for tag in waiting {
        assert_eq!(host.fault_of(tag), (FaultCode::HALTED, 0));
    }
    // What changes the rail or a shape is done all the same.
    assert!(matches!(host.wait(off), Reply::Rail(_)));
    assert!(matches!(host.wait(given), Reply::Shape(_)));
    assert_eq!(host.ping().rail, RailState::Off);
}

#[test]
fn stop_and_a_new_session_end_a_read_at_work() {
    let mut host = Host::ready();
    let at_work = host.send(&read(0, 0, 200));
    let reply = host.ask(&Request::Stop);
    assert!(matches!(reply, Reply::Stop(stop) if stop.within_ms > 0), "{reply:?}");
    assert_eq!(host.fault_of(at_work), (FaultCode::HALTED, 0));
    let at_work = host.send(&read(0, 0, 200));
    assert!(host.hello(8).still_running_ms > 0);
    assert_eq!(host.fault_of(at_work), (FaultCode::SESSION_ENDED, 0));
}

#[test]
fn replies_are_dropped_and_hold_no_dead_man_off() {
    let mut host = Host::ready();
    let before = host.ping();
    let echo = Fault { of: Kind(0x70), id: 0, code: FaultCode::UNKNOWN_REQUEST, detail: 0 };
    for _ in 0..60 {
        host.send_body(&Reply::Fault(echo).encode(200));
        host.send_body(&[0xF0, 201]);
        host.run_ms(100);
    }
    assert!(!host.bench.adapter().rail_is_on());
    assert!(host.replies.is_empty(), "{:?}", host.replies);
    let after = host.ping();
    assert_eq!(after.frames_damaged - before.frames_damaged, 120);
    assert_eq!(after.frames_good - before.frames_good, 1);
}

#[test]
fn a_new_session_ends_the_work_of_the_old_one() {
    let mut host = Host::ready();
    let long = host.send(&digest(0, 0, 0x8_0000));
    let waiting = host.send(&read(0, 0, 4));
    host.run_ms(100);
    // A slice of 256 words at 121 cycles is 2 ms.
    assert!((1..=2).contains(&host.hello(8).still_running_ms));
    assert_eq!(host.fault_of(long), (FaultCode::SESSION_ENDED, 0));
    assert_eq!(host.rail(RailRequest::OFF).rail_counter, 1);
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != waiting), "dropped without a word");
}

#[test]
fn while_old_work_ends_only_hello_ping_and_stop_are_served() {
    let mut host = Host::new();
    host.hello(7);
    host.shape(0, store_shape());
    let mut request = rail_on(1);
    (request.settle_ms, request.floor) = (2_000, Millivolts(3_400));
    let long = host.send(&Request::Rail(request));
    host.run_ms(100);
    let still = host.hello(8).still_running_ms;
    assert!((1_700..2_000).contains(&still), "{still}");
    let (code, left) = host.fault(&read(0, 0, 1));
    assert_eq!(code, FaultCode::EARLIER_RUN);
    assert!(left < still && left > 1_000);
    assert!(host.ping().running);
    host.run_ms(2_500);
    // Its fault carries no nonce, so it is kept from the new host.
    assert!(
        host.replies.iter().all(|(_, tag, reply)| *tag != long || matches!(reply, Reply::Busy(_)))
    );
    assert_eq!(host.fault(&read(0, 0, 1)).0, FaultCode::RAIL_OFF);
}

#[test]
fn unknown_and_malformed_requests_are_told_apart() {
    let mut host = Host::new();
    host.hello(1);
    host.send_body(&[0x70, 200, 1, 2, 3]);
    assert_eq!(host.fault_of(200), (FaultCode::UNKNOWN_REQUEST, 0));
    // READ: nonce 0x1234, then the body ends at byte 4.
    host.send_body(&[0x09, 201, 0x34, 0x12]);
    let reply = host.wait(201);
    let wanted = Fault { of: Kind::READ, id: 0x1234, code: FaultCode::MALFORMED, detail: 4 };
    assert_eq!(reply, Reply::Fault(wanted));
    // What is answered at once is refused at once, and session 0 is none.
    let mut host = Host::ready();
    let long = host.send(&digest(0, 0, 0x8_0000));
    host.send_body(&[0x02, 203, 0]);
    assert_eq!(host.fault_of(203), (FaultCode::MALFORMED, 2));
    host.send_body(&hello(0).encode(204));
    assert_eq!(host.fault_of(204), (FaultCode::MALFORMED, 3));
    assert!(matches!(host.wait(long), Reply::Digest(_)));
    // RAIL with action 2.
    host.send_body(&[0x04, 202, 2, 0, 0, 0, 0, 0, 0, 0]);
    assert_eq!(host.fault_of(202), (FaultCode::MALFORMED, 2));
}

#[test]
fn a_reset_loses_everything_and_is_silent_while_it_boots() {
    let mut host = Host::ready();
    let before = host.ping();
    host.bench.at(host.now, Event::Reset);
    let deaf = host.send(&Request::Ping);
    host.run_ms(299);
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != deaf));
    host.run_ms(1);
    assert_eq!(host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
    let about = host.hello(7);
    assert_ne!(about.boot_id, before.boot_id);
    assert_eq!((about.rail_counter, about.previous_session), (0, 0));
    assert_eq!(host.fault(&read(0, 0, 1)).0, FaultCode::RAIL_OFF);
}
