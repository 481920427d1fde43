//! The session core against hand-made replies: order, repeats, strays, losses.

use super::LinkError;
use super::asked::Transmit;
use super::session::{Session, Ticket};
use crate::bus::{Baud, Nanos, Precharge, ShapeId, WordAddress};
use crate::wire::{
    Busy, Fault, FaultCode, FrameReader, Kind, PingReply, RailState, ReadEcho, ReadReply,
    ReadRequest, Reply, Request, encode_frame_after_idle,
};

fn read(nonce: u16, address: u32) -> Request {
    Request::Read(ReadRequest {
        echo: ReadEcho {
            nonce,
            shape: ShapeId(0),
            address: WordAddress(address),
            step: 1,
            count: 4,
            precharge: Precharge::Zeros,
            encoding: 0,
        },
    })
}

fn answer(request: &Request, payload: u8) -> Reply {
    match request {
        Request::Read(read) => Reply::Read(ReadReply { echo: read.echo, payload: vec![payload] }),
        other => panic!("no answer for {other:?}"),
    }
}

fn session() -> Session {
    Session::new(7, Some(Baud(1_000_000)))
}

/// Everything that the session wants to send now, as tags and requests.
fn sent(session: &mut Session, now: Nanos) -> Vec<(u8, Request)> {
    let mut reader = FrameReader::new(256);
    let mut out = Vec::new();
    while let Some(Transmit::Bytes(bytes)) = session.poll_transmit(now) {
        reader.push(&bytes, |body| out.push(Request::decode(body).unwrap().unwrap()));
    }
    out
}

fn reply(session: &mut Session, now: Nanos, tag: u8, reply: &Reply) {
    session.handle_bytes(now, &encode_frame_after_idle(&reply.encode(tag)));
}

fn got(session: &mut Session, ticket: Ticket) -> Option<Result<Reply, LinkError>> {
    session.take_result(ticket)
}

#[test]
fn the_window_keeps_to_the_declared_queue() {
    let mut s = session();
    let tickets: Vec<_> = (0..10).map(|n| s.submit(read(1, n * 4))).collect();
    let first = sent(&mut s, Nanos::ZERO);
    let size = encode_frame_after_idle(&read(1, 0).encode(1)).len();
    assert_eq!(first.len(), 64 / size, "64 bytes until HELLO tells more");
    let (tag, request) = &first[0];
    reply(&mut s, Nanos(1), *tag, &answer(request, 5));
    assert!(matches!(got(&mut s, tickets[0]), Some(Ok(Reply::Read(_)))));
    assert_eq!(sent(&mut s, Nanos(2)).len(), 1, "one answer makes room for one request");
}

#[test]
fn a_reply_to_a_later_request_proves_the_earlier_lost() {
    let mut s = session();
    let (lost, good) = (s.submit(read(1, 0)), s.submit(read(1, 4)));
    let first = sent(&mut s, Nanos::ZERO);
    reply(&mut s, Nanos(1), first[1].0, &answer(&first[1].1, 9));
    assert!(got(&mut s, good).is_some());
    let again = sent(&mut s, Nanos(2));
    assert_eq!(again.len(), 1);
    assert_eq!(again[0].1, first[0].1);
    assert_ne!(again[0].0, first[0].0, "every transmission has its own tag");
    reply(&mut s, Nanos(3), again[0].0, &answer(&again[0].1, 1));
    assert!(matches!(got(&mut s, lost), Some(Ok(_))));
    assert_eq!(s.stats().repeats, 1);
}

#[test]
fn immediate_answers_prove_nothing() {
    let mut s = session();
    s.submit(read(1, 0));
    let ping = s.submit(Request::Ping);
    let first = sent(&mut s, Nanos::ZERO);
    reply(&mut s, Nanos(1), first[1].0, &Reply::Ping(ping_reply(1, RailState::On)));
    assert!(got(&mut s, ping).is_some());
    assert!(sent(&mut s, Nanos(2)).is_empty());
}

#[test]
fn a_stale_reply_with_a_reused_tag_is_a_stray() {
    let mut s = session();
    let ticket = s.submit(read(2, 0));
    let first = sent(&mut s, Nanos::ZERO);
    for stale in [read(1, 0), read(2, 4)] {
        reply(&mut s, Nanos(1), first[0].0, &answer(&stale, 0xEE));
    }
    assert_eq!(got(&mut s, ticket), None);
    assert_eq!(s.stats().frames_stray, 2);
    reply(&mut s, Nanos(2), first[0].0, &answer(&read(2, 0), 1));
    let Some(Ok(Reply::Read(read))) = got(&mut s, ticket) else { panic!("no answer") };
    assert_eq!(read.payload, [1]);
}

#[test]
fn silence_is_repeated_and_then_said() {
    let mut s = session();
    let ticket = s.submit(read(1, 0));
    let mut frames = sent(&mut s, Nanos::ZERO).len();
    while let Some(at) = s.poll_timeout() {
        s.handle_timeout(at);
        frames += sent(&mut s, at).len();
    }
    assert_eq!(frames, 10);
    let Some(Err(error)) = got(&mut s, ticket) else { panic!("no error") };
    assert!(matches!(error, LinkError::Silent { request: Kind::READ, attempts: 10, .. }));
    let after = s.submit(read(1, 4));
    assert_eq!(got(&mut s, after), Some(Err(error)), "the session is over");
}

#[test]
fn busy_extends_the_time() {
    let mut s = session();
    s.submit(read(3, 0));
    let first = sent(&mut s, Nanos::ZERO);
    let before = s.poll_timeout().unwrap();
    let busy = Busy { of: Kind::READ, id: 3, done: 1, whole: 4 };
    reply(&mut s, Nanos::from_millis(100), first[0].0, &Reply::Busy(busy));
    assert!(s.poll_timeout().unwrap() > before + Nanos::from_secs(2));
}

#[test]
fn faults_become_errors_and_a_lost_session_is_a_restart() {
    let mut s = session();
    let (one, two) = (s.submit(read(1, 0)), s.submit(read(1, 4)));
    let first = sent(&mut s, Nanos::ZERO);
    let fault = |code| Reply::Fault(Fault { of: Kind::READ, id: 1, code, detail: 0 });
    reply(&mut s, Nanos(1), first[0].0, &fault(FaultCode::TOO_LONG));
    assert!(matches!(got(&mut s, one), Some(Err(LinkError::Fault { .. }))));
    reply(&mut s, Nanos(2), first[1].0, &fault(FaultCode::NO_SESSION));
    assert_eq!(got(&mut s, two), Some(Err(LinkError::Restarted)));
}

fn ping_reply(boot_id: u32, rail: RailState) -> PingReply {
    PingReply {
        boot_id,
        rail_counter: 1,
        rail,
        rail_mv: crate::bus::Millivolts(3_300),
        rail_min: crate::bus::Millivolts(3_290),
        ready: true,
        write_locked: false,
        running: false,
        last_run: 0,
        last_status: 0,
        permit_s: 0,
        frames_good: 0,
        frames_damaged: 0,
        overruns: 0,
    }
}

#[test]
fn abort_fails_what_flies_and_lets_rail_off_through() {
    let mut s = session();
    let ticket = s.submit(read(1, 0));
    sent(&mut s, Nanos::ZERO);
    s.abort();
    assert_eq!(got(&mut s, ticket), Some(Err(LinkError::Aborted)));
    s.submit(Request::Stop);
    assert_eq!(sent(&mut s, Nanos(1)).len(), 1);
}

#[test]
fn an_unplugged_port_fails_everything() {
    let mut s = session();
    let flying = s.submit(read(1, 0));
    sent(&mut s, Nanos::ZERO);
    s.unplugged();
    let later = s.submit(Request::Ping);
    for ticket in [flying, later] {
        assert_eq!(got(&mut s, ticket), Some(Err(LinkError::Unplugged)));
    }
}

/// Whatever arrives, the session neither panics nor grows.
mod noise {
    use super::*;
    use proptest::prelude::*;

    /// A piece of what a broken or hostile other side may send.
    fn piece() -> impl Strategy<Value = Vec<u8>> {
        let noise = proptest::collection::vec(any::<u8>(), 0..600);
        let body = proptest::collection::vec(any::<u8>(), 2..80);
        let framed = body.prop_map(|body| encode_frame_after_idle(&body));
        // Good checksums, a reply's kind and a likely tag: as near to an answer as noise gets.
        let kinds = prop_oneof![0x81_u8..=0x8F, Just(0xFE), Just(0xFF)];
        let rest = proptest::collection::vec(any::<u8>(), 0..60);
        let near = (kinds, 0_u8..12, rest).prop_map(|(kind, tag, rest)| {
            encode_frame_after_idle(&[&[kind, tag][..], &rest].concat())
        });
        prop_oneof![noise, framed, near]
    }

    proptest! {
        #[test]
        fn never_panics_and_stays_bounded(pieces in proptest::collection::vec(piece(), 0..40)) {
            let mut s = session();
            let requests = [read(1, 0), Request::Ping, Request::Stop, read(1, 4)];
            let tickets: Vec<_> = requests.into_iter().map(|request| s.submit(request)).collect();
            let mut now = Nanos::ZERO;
            for piece in pieces {
                sent(&mut s, now);
                now += Nanos::from_millis(40);
                s.handle_bytes(now, &piece);
                s.handle_timeout(now);
            }
            sent(&mut s, now);
            prop_assert!(s.outstanding() <= tickets.len() + 1, "a PING of its own at most");
            while let Some(at) = s.poll_timeout() {
                s.handle_timeout(at);
                sent(&mut s, at);
            }
            // Every request has come to an end, one way or another.
            for ticket in tickets {
                prop_assert!(got(&mut s, ticket).is_some());
            }
        }
    }
}

#[test]
fn a_lost_ping_is_asked_again_while_other_answers_stream_in() {
    let mut s = session();
    let reads: Vec<_> = (0..4).map(|n| read(1, n * 4)).collect();
    for request in &reads {
        s.submit(request.clone());
    }
    let flying = sent(&mut s, Nanos::ZERO);
    s.submit(Request::Ping);
    let pings = |s: &mut Session, now| {
        let sent = sent(s, now);
        sent.iter().filter(|(_, request)| *request == Request::Ping).count()
    };
    assert_eq!(pings(&mut s, Nanos::ZERO), 1);
    // Every 200 ms something is heard, so silence never says that the PING is lost.
    for (n, (tag, request)) in flying.iter().enumerate() {
        let now = Nanos::from_millis(200 * (n as u64 + 1));
        reply(&mut s, now, *tag, &answer(request, 1));
        s.handle_timeout(now);
        if pings(&mut s, now) > 0 {
            assert!(n > 0, "not before its time");
            return;
        }
    }
    panic!("{} answers and no second PING", flying.len());
}
