//! Rates, latency, faults on the line, and things that happen to it.

use super::*;
use crate::sim::{Event, FrameFault, FrameFaults};
use crate::wire::Kind;

#[test]
fn a_byte_takes_ten_bits_each_way_and_short_packets_wait() {
    let mut host = Host::new();
    let request = encode_frame_after_idle(&hello(1).encode(1));
    host.bench.host_send(Nanos::ZERO, &request);
    let arrives = Baud(115_200).time_of(request.len() as u64);
    assert_eq!(host.bench.poll_timeout(), Some(arrives));
    assert_eq!(host.bench.poll_receive(arrives), None);
    // The reply starts at once; its first 62 bytes leave when they are in.
    let first = host.bench.poll_timeout().unwrap();
    assert_eq!(first, arrives + Baud(115_200).time_of(62));
    assert_eq!(host.bench.poll_receive(first).unwrap().len(), 62);
}

#[test]
fn delay_is_added_each_way() {
    let time = |delay| {
        let mut host = Host::edited("TG-7", |d| d.line.delay = Nanos::from_millis(delay));
        host.hello(1);
        host.now
    };
    assert_eq!(time(30), time(0) + Nanos::from_millis(60));
}

#[test]
fn a_rate_is_changed_after_the_reply_and_kept_when_heard() {
    let mut host = Host::new();
    host.hello(1);
    host.set_rate(1_000_000);
    host.ping();
    host.run_ms(9_000);
    assert_eq!(host.bench.adapter().rate(), Baud(1_000_000));
    host.run_ms(1_100);
    assert_eq!(host.bench.adapter().rate(), Baud(115_200));
}

#[test]
fn an_unheard_rate_is_left_after_half_a_second() {
    let mut host = Host::new();
    host.hello(1);
    host.ask(&rate_request(500_000));
    assert_eq!(host.bench.adapter().rate(), Baud(500_000));
    // Still at the old rate: noise to the adapter.
    let lost = host.send(&Request::Ping);
    host.run_ms(510);
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != lost));
    assert_eq!(host.bench.adapter().rate(), Baud(115_200));
    host.ping();
    // And no second trial keeps going back.
    host.run_ms(600);
    host.ping();
}

#[test]
fn rates_that_are_not_listed_are_refused() {
    let mut host = Host::new();
    let about = host.hello(1);
    assert_eq!(about.rates.last(), Some(&Baud(1_000_000)));
    for rate in [2_000_000, 9_600, 0] {
        assert_eq!(host.fault(&rate_request(rate)).0, FaultCode::RATE_NOT_POSSIBLE);
    }
}

#[test]
fn at_another_rate_the_host_hears_noise() {
    let mut host = Host::new();
    host.bench.set_host_rate(host.now, Baud(250_000));
    host.send(&hello(1));
    host.run_ms(100);
    assert_eq!(host.reader.counters().good, 0);
    host.bench.set_host_rate(host.now, Baud(115_200));
    host.hello(1);
    // A host that hears at the wrong rate gets no frame either.
    let tag = host.send(&Request::Ping);
    host.run_ms(1);
    host.bench.set_host_rate(host.now, Baud(250_000));
    host.run_ms(100);
    assert!(host.replies.iter().all(|(_, t, _)| *t != tag));
}

#[test]
fn planned_faults_hit_their_frames() {
    let mut host = Host::ready();
    host.bench.damage_request(1, FrameFault::Flip);
    let lost = host.send(&Request::Ping);
    host.run_ms(100);
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != lost));
    assert_eq!(host.ping().frames_damaged, 1);
    host.bench.damage_reply(1, FrameFault::Double);
    let twice = host.send(&Request::Ping);
    host.run_ms(100);
    assert_eq!(host.replies.iter().filter(|(_, tag, _)| *tag == twice).count(), 2);
    host.bench.damage_reply(1, FrameFault::Drop);
    let lost = host.send(&Request::Ping);
    host.run_ms(100);
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != lost));
    assert_eq!(host.bench.damaged(), (1, 2));
}

#[test]
fn nothing_passes_a_pulled_cable() {
    let mut host = Host::ready();
    host.bench.after(2, Kind::READ, Event::Unplug);
    let first = host.send(&read(0, 0, 16));
    let second = host.send(&read(0, 0, 16));
    assert!(!host.bench.is_unplugged(host.now));
    host.run_ms(100);
    assert!(host.bench.is_unplugged(host.now));
    assert!(host.replies.iter().all(|(_, tag, _)| *tag != second));
    assert!(host.replies.iter().filter(|(_, tag, _)| *tag == first).count() <= 1);
    host.send(&Request::Ping);
    host.run_ms(5_100);
    assert!(!host.bench.adapter().rail_is_on(), "the dead-man works without a cable");
    host.bench.at(host.now, Event::Replug);
    host.bench.open(host.now);
    assert_eq!(host.hello(7).rail_counter, 1);
}

#[test]
fn a_reset_in_mid_capture_cuts_the_reply() {
    let mut host = Host::ready();
    host.bench.after(3, Kind::READ, Event::Reset);
    let tags: Vec<u8> = (0..5).map(|n| host.send(&read(0, n, 64))).collect();
    host.run_ms(1_000);
    let answered = tags.iter().filter(|tag| host.replies.iter().any(|(_, t, _)| t == *tag));
    assert!(answered.count() < 3);
    assert_eq!(host.bench.adapter().books().resets, 1);
    assert_eq!(host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
}

#[test]
fn opening_the_port_restarts_the_boards_that_do() {
    for (restarts, resets) in [(true, 1), (false, 0)] {
        let mut host = Host::edited("TG-7", |d| d.restarts_on_open = restarts);
        host.bench.open(host.now);
        assert_eq!(host.bench.adapter().books().resets, resets);
    }
}

#[test]
fn a_quiet_bench_waits_for_nothing() {
    let mut host = Host::new();
    assert_eq!(host.bench.poll_timeout(), None);
    host.hello(1);
    host.run_ms(20);
    assert_eq!(host.bench.poll_timeout(), None);
}

#[test]
fn a_line_without_a_rate_takes_no_time_and_no_rate() {
    let mut host = Host::edited("TG-7", |d| {
        d.adapter.reset_rate = Baud(0);
        d.adapter.rates.clear();
    });
    host.bench.set_host_rate(host.now, Baud(115_200));
    let about = host.hello(1);
    assert_eq!((about.reset_rate, about.rates.len()), (Baud(0), 0));
    assert_eq!(host.fault(&rate_request(115_200)).0, FaultCode::RATE_NOT_POSSIBLE);
}

#[test]
fn the_reset_rate_is_always_listed() {
    let text = include_str!("../benches/tg-7.toml").replace("115_200", "9_600");
    let description = BenchDescription::parse("x", &text).unwrap();
    assert_eq!(description.adapter.rates[..2], [Baud(9_600), Baud(115_200)]);
    let none = text.replace("reset_rate = 9_600", "reset_rate = 0");
    assert!(BenchDescription::parse("x", &none).unwrap().adapter.rates.is_empty());
}

#[test]
fn the_same_seed_gives_the_same_history() {
    let history = |seed| {
        let mut host = Host::ready();
        let odds = FrameFaults { drop: 0.1, flip: 0.1, double: 0.1, lost_delimiter: 0.1 };
        host.bench.set_faults(odds, odds, seed);
        for n in 0..60 {
            host.send(&read(0, n * 64, 64));
            host.run_ms(30);
        }
        assert!(host.bench.damaged().0 > 5 && host.bench.damaged().1 > 5);
        host.replies.iter().map(|(at, tag, _)| (*at, *tag)).collect::<Vec<_>>()
    };
    assert_eq!(history(1), history(1));
    assert_ne!(history(1), history(2));
}
