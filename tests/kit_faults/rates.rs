//! Line rates.

use crate::bench::{assert_words, greeted, ping, powered, read};
use crate::support::stepped::Stepped;
use buswright::wire::{FaultCode, RateRequest, Reply, Request, encode_frame};

fn rate(rate: u32) -> Request {
    use buswright::bus::Baud;
    Request::Rate(RateRequest { rate: Baud(rate) })
}

/// Both go to another rate; the host's follows when it has the answer.
#[track_caller]
fn change(host: &mut Stepped, to: u32) {
    let before = host.state().rate_changed;
    let tag = host.send(&rate(to));
    let answer = host.answer(tag);
    let Reply::Rate(reply) = answer.reply else { panic!("{answer:?}") };
    assert_eq!(reply.rate.0, to);
    host.order(&format!("rate {to}"));
    host.pass(1_000);
    let changed = host.state().rate_changed;
    assert!(
        changed == before || changed >= answer.at,
        "it switches when its last stop bit has left"
    );
}

/// Bytes of an answer follow each other at the host's rate; what it says is understood.
#[track_caller]
fn assert_rate(host: &mut Stepped, at: u32, nonce: u16) {
    let bytes = 200 * 4 + 26;
    let tag = host.send(&read(nonce, 7, 200));
    let before = host.state();
    let answer = host.answer(tag);
    assert_words(&answer.reply, nonce, 7, 200);
    let cycles = answer.at - before.came_at;
    let least = host.cycles(10_000_000) / u64::from(at) * bytes;
    assert!(cycles >= least, "{bytes} bytes in {cycles} cycles are too fast for {at} baud");
}

#[test]
fn every_rate_that_is_declared_works_in_both_directions() {
    for (clock, rates) in [
        (16_000_000, &[250_000, 500_000, 1_000_000, 2_000_000][..]),
        (8_000_000, &[250_000, 500_000, 1_000_000]),
    ] {
        let Some(mut host) = powered(clock) else { return };
        host.order("rate 250000");
        let hello = crate::bench::hello(&mut host, crate::bench::SESSION);
        let declared: Vec<u32> = hello.rates.iter().map(|rate| rate.0).collect();
        assert_eq!((declared.as_slice(), hello.reset_rate.0), (rates, 250_000));
        let mut nonce = 0;
        for from in rates {
            for to in rates {
                change(&mut host, *from);
                ping(&mut host);
                change(&mut host, *to);
                ping(&mut host);
                nonce += 1;
                assert_rate(&mut host, *to, nonce);
            }
        }
        assert_eq!(ping(&mut host).frames_damaged, 0);
        host.end();
    }
}

#[test]
fn a_rate_that_is_not_declared_is_refused() {
    for (clock, fast) in [(16_000_000, 4_000_000), (8_000_000, 2_000_000)] {
        let Some(mut host) = greeted(clock) else { return };
        host.order("rate 250000");
        for to in [0, 1, 115_200, 249_999, 250_001, 666_666, fast, u32::MAX] {
            let refused = host.refused(&rate(to));
            assert_eq!((refused.code, refused.detail), (FaultCode::RATE_NOT_POSSIBLE, 0), "{to}");
        }
        // The present one is answered and changes nothing: there is nothing to be confirmed.
        let Reply::Rate(_) = host.ask(&rate(250_000)) else { panic!() };
        host.pass(700_000);
        ping(&mut host);
        host.end();
    }
}

/// Half a second after the change, to some ten milliseconds.
#[test]
fn a_rate_that_nobody_confirms_falls_back() {
    for noise in [false, true] {
        let Some(mut host) = powered(16_000_000) else { return };
        host.order("rate 250000");
        change(&mut host, 500_000);
        ping(&mut host);
        change(&mut host, 2_000_000);
        let changed = host.state().rate_changed;
        if noise {
            // Frames at the rate before are none at the new one, nor are damaged ones.
            host.order("rate 500000");
            for _ in 0..20 {
                host.say(&encode_frame(&Request::Ping.encode(9)));
                host.pass(15_000);
            }
            host.order("rate 2000000");
            host.say(&[0, 5, 5, 5, 5, 0]);
        }
        host.pass_to(changed + host.cycles(499_000));
        assert_eq!(host.state().rate_changed, changed, "not before its time");
        host.pass_to(changed + host.cycles(510_000));
        let back = host.state().rate_changed;
        assert!(back > changed, "it is at the new rate still");
        assert!(host.hear(0).is_none());
        host.order("rate 500000");
        assert_rate(&mut host, 500_000, 5);
        // Nothing is to be confirmed now.
        host.pass(700_000);
        ping(&mut host);
        host.end();
    }
}

#[test]
fn after_ten_seconds_of_silence_it_is_at_its_reset_rate() {
    let Some(mut host) = greeted(8_000_000) else { return };
    host.order("rate 250000");
    change(&mut host, 1_000_000);
    ping(&mut host);
    let state = host.state();
    let since = state.came_at;
    host.pass_to(since + host.cycles(9_999_000));
    assert_eq!(host.state().rate_changed, state.rate_changed, "not before its time");
    host.pass_to(since + host.cycles(10_010_000));
    assert!(host.state().rate_changed > state.rate_changed);
    host.order("rate 250000");
    ping(&mut host);
    host.end();
}
