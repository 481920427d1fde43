//! Limits of requests, the queue, and what work costs.

use super::*;
use crate::sim::HostViolation;
use crate::wire::{Encoding, Kind};

#[test]
fn a_reply_must_fit() {
    let mut host = Host::ready();
    // 1,056 bytes of body less 15 before the words: 260 words of four bytes.
    assert_eq!(host.read(echo(0, 0, 260)).len(), 1_040);
    assert_eq!(host.fault(&read(0, 0, 261)), (FaultCode::TOO_LONG, 0));
    let coded = ReadEcho { encoding: Encoding::Runs.number(), ..echo(0, 0, 260) };
    assert_eq!(host.fault(&Request::Read(ReadRequest { echo: coded })).0, FaultCode::TOO_LONG);
    assert!(host.read(echo(0, 0, 0)).is_empty());
}

#[test]
fn addresses_and_encodings_must_exist() {
    let mut host = Host::ready();
    assert_eq!(host.fault(&read(0, 0xFF_FFFF, 2)), (FaultCode::BEYOND_LINES, 0x100_0000));
    let down = ReadEcho { step: -1, ..echo(0, 2, 5) };
    let down = Request::Read(ReadRequest { echo: down });
    assert_eq!(host.fault(&down), (FaultCode::BEYOND_LINES, 0xFFFF_FFFF));
    assert_eq!(host.fault(&digest(0, 0, u32::MAX)).0, FaultCode::BEYOND_LINES);
    let odd = Request::Read(ReadRequest { echo: ReadEcho { encoding: 9, ..echo(0, 0, 1) } });
    assert_eq!(host.fault(&odd), (FaultCode::UNKNOWN_ENCODING, 0));
    assert_eq!(host.fault(&read(5, 0, 1)), (FaultCode::NO_SHAPE, 0));
}

#[test]
fn replies_come_in_order_and_doubles_are_answered_again() {
    let mut host = Host::ready();
    let tags: Vec<u8> = (0..12).map(|n| host.send(&read(0, n * 16, 16))).collect();
    host.send_body(&read(0, 0, 16).encode(tags[0]));
    host.run_ms(2_000);
    let got: Vec<u8> = host.replies.iter().map(|(_, tag, _)| *tag).collect();
    assert_eq!(got, [tags.clone(), vec![tags[0]]].concat());
}

#[test]
fn what_does_not_fit_the_queue_is_dropped_and_counted() {
    let mut host = Host::edited("TG-7", |d| d.adapter.sizes.rx_queue_bytes = 512);
    host.make_ready();
    host.send(&digest(0, 0, 0x1_0000));
    // 22 bytes each on the line: 23 fit into 512.
    let tags: Vec<u8> = (0..26).map(|_| host.send(&read(0, 0, 1))).collect();
    host.run_ms(3_000);
    let answered = |tag: &u8| host.replies.iter().any(|(_, t, _)| t == tag);
    assert_eq!(tags.iter().filter(|tag| answered(tag)).count(), 23);
    assert!(tags[23..].iter().all(|tag| !answered(tag)));
    assert_eq!(host.ping().overruns, 3);
    let last = host.bench.adapter().books().violations.last().unwrap().1;
    assert_eq!(last, HostViolation::Overrun(Kind::READ));
}

#[test]
fn the_line_is_never_idle_while_reads_wait() {
    for (clock, rate, count) in [(16_000_000, 1_000_000, 256), (8_000_000, 1_000_000, 256)] {
        let mut host = Host::edited("TG-7", |d| d.adapter.clock_hz = clock);
        host.make_ready();
        host.set_rate(rate);
        host.ping();
        let tags: Vec<u8> = (0..20).map(|n| host.send(&read(0, n * 256, count))).collect();
        host.run_ms(2);
        let start = host.now;
        for tag in &tags {
            assert!(matches!(host.wait(*tag), Reply::Read(_)));
        }
        // Before the first byte leaves, all requests come in and the first words are read: 120,000
        // cycles. 1,049 bytes of 10 us each; then at most the latency of a short packet.
        let first = Nanos(120_000 * 1_000_000_000 / u64::from(clock));
        let line = Nanos::from_micros(10) * 1_049 * 20;
        let took = host.now.since(start);
        let most = first + line + Nanos::from_millis(17);
        assert!(took < most, "{took:?} of {most:?} at {clock}");
    }
}

#[test]
fn a_frame_spends_at_most_30_bytes_beyond_its_payload() {
    let mut host = Host::ready();
    let tag = host.send(&read(0, 0, 256));
    let mut bytes = 0;
    while host.replies.iter().all(|(_, t, _)| *t != tag) {
        let at = host.bench.poll_timeout().unwrap();
        host.now = at;
        while let Some(packet) = host.bench.poll_receive(at) {
            bytes += packet.len();
            let replies = &mut host.replies;
            host.reader.push(&packet, |body| {
                let (tag, reply) = Reply::decode(body).unwrap().unwrap();
                replies.push((at, tag, reply));
            });
        }
    }
    assert!((1_046..=1_054).contains(&bytes), "{bytes}");
}

#[test]
fn no_words_are_read_and_summed_as_no_words() {
    let mut host = Host::ready();
    let reply = host.ask(&digest(0, 0, 0));
    let Reply::Digest(reply) = reply else { panic!("{reply:?}") };
    let digest = reply.digest;
    assert_eq!((digest.crc, digest.and, digest.or), (0, u32::MAX, 0));
    let none = ReadEcho { encoding: Encoding::Runs.number(), ..echo(0, 0xFF_FFFF, 0) };
    assert!(host.read(none).is_empty());
    assert_eq!(host.bench.adapter().books().words_read, 0);
}

#[test]
fn the_books_count() {
    let mut host = Host::ready();
    host.read(echo(0, 0, 100));
    host.ask(&digest(0, 0, 1_000));
    let books = host.bench.adapter().books();
    assert_eq!((books.words_read, books.words_written), (1_100, 0));
    assert_eq!((books.requests(Kind::SHAPE), books.requests(Kind::READ)), (2, 1));
    assert_eq!(books.replies(Kind::DIGEST.reply()), 1);
    assert_eq!(books.violation_count, 0);
    assert_eq!(host.bench.adapter().socket().books().unwrap().reads, 1_100);
}
