//! A rail that falls while something is at work, does not rise, or does not fall.

use crate::bench::{
    FLOOR, ON, RAM, SESSION, assert_words, digest, greeted, hello, permit, ping, powered, rail_on,
    read, run, slow_rom, store,
};
use crate::support::stepped::{Heard, Stepped};
use buswright::bus::WordAddress;
use buswright::bus::script::Builder;
use buswright::wire::{Fault, FaultCode, RailRequest, RailState, Reply, Request};

/// What the rail has after it sagged.
const SAGGED: u16 = 2500;
/// "At once": from the supply's fall to the switch that is open, a measurement included.
const AT_ONCE_US: u64 = 3_000;

/// The supply falls so many microseconds from now; the cycle of it.
fn sags(host: &mut Stepped, us: u64) -> u64 {
    let at = host.now + host.cycles(us);
    host.order(&format!("supply {at} {SAGGED}"));
    at
}

/// Off at once, with every line let go; how long it took, in microseconds.
#[track_caller]
fn assert_off(host: &mut Stepped, sagged: u64, within_us: u64) -> u64 {
    let state = host.state();
    assert!(!state.rail.0, "the rail is on {} us after it sagged", host.us_since(sagged));
    assert_eq!((state.driven, state.pulled), ([0; 3], [0; 3]), "every line is let go");
    let us = (state.rail.1 - sagged) * 1_000_000 / host.cycles(1_000_000);
    println!("rail off {us} us after it sagged");
    assert!(state.rail.1 > sagged && us <= within_us, "{us}");
    us
}

fn fault(heard: &Heard) -> Option<&Fault> {
    match &heard.reply {
        Reply::Fault(fault) => Some(fault),
        _ => None,
    }
}

/// Measured in steps of 5 mV, which the board rounds down.
fn is_sag(fault: &Fault) -> bool {
    fault.code == FaultCode::RAIL_SAGGED
        && (u32::from(SAGGED) - 5..=u32::from(SAGGED)).contains(&fault.detail)
}

/// PING, READ and DIGEST say so until the next RAIL; then, with the supply back, it is on again.
#[track_caller]
fn assert_tripped(host: &mut Stepped, switched: u32) {
    let said = ping(host);
    assert_eq!((said.rail, said.rail_counter, said.permit_s), (RailState::Tripped, switched, 0));
    assert!(said.rail_min.0 < FLOOR, "{said:?}");
    for request in [read(70, 0, 1), digest(71, 0, 1)] {
        let refused = host.refused(&request);
        assert!(is_sag(&refused), "{refused:?}");
    }
    host.order("supply 0 0");
    rail_on(host);
    assert_eq!(ping(host).rail_counter, switched, "a sag counts once");
    assert_words(&host.ask(&read(72, 9, 5)), 72, 9, 5);
}

#[test]
fn a_run_ends_with_power_lost_and_without_its_finally() {
    let Some(mut host) = powered(16_000_000) else { return };
    let main = Builder::new(RAM).set_a(WordAddress(0x100));
    let main = main.repeat(50_000, |b| b.write_a(0x3333_3333).step(1));
    let crc = store(&mut host, 0, main.finally(|b| b.write(WordAddress(7), 0x4444_4444)));
    let tag = host.send(&Request::Run(run(crc, 1)));
    let waiting = [read(5, 0, 1), Request::Rail(ON)].map(|request| host.send(&request));
    let mut next = run(crc, 2);
    let queued = host.send(&Request::Run(next.clone()));
    let sagged = sags(&mut host, 100_000);
    host.pass_to(sagged);
    let before = host.state().writes;
    assert!(before > 100, "it is at work");
    let answer = host.answer(tag);
    let Reply::Run(reply) = answer.reply else { panic!("{answer:?}") };
    let us = assert_off(&mut host, sagged, AT_ONCE_US);
    assert_eq!(reply.status, 12, "power lost: {reply:?}");
    let writes = host.state().writes;
    assert!(reply.a.0 - 0x100 <= u32::try_from(writes).unwrap(), "{reply:?} after {writes}");
    assert!(writes - before <= us, "no more than it makes in that time");
    assert_eq!(host.ram(7), 0, "`finally` is not made");
    for tag in waiting {
        let heard = host.answer(tag);
        assert!(fault(&heard).is_some_and(is_sag), "{heard:?}");
    }
    let heard = host.answer(queued);
    assert!(fault(&heard).is_some_and(|fault| fault.code == FaultCode::HALTED), "{heard:?}");
    assert_eq!(ping(&mut host).last_run, 1, "its id is used");
    // Its reply is remembered, and nothing of the chain goes on.
    let Reply::Run(again) = host.ask(&Request::Run(run(crc, 1))) else { panic!() };
    assert_eq!(again, reply);
    next.id.run = 3;
    assert_eq!(host.refused(&Request::Run(next)).code, FaultCode::NOT_NEXT_RUN);
    assert_tripped(&mut host, 1);
    assert_eq!(host.state().writes, writes);
    host.end();
}

/// A stretch without a safe point is no reason to go on without supply.
#[test]
fn an_atomic_stretch_ends_at_once_too() {
    for delay in [1_u32, 200, 5_000, 18_000] {
        let Some(mut host) = powered(16_000_000) else { return };
        let times = 19_000 / (delay + 500);
        let script = Builder::new(RAM)
            .repeat(100, |b| b.atomic(|b| b.repeat(times, |b| b.write_a(1).step(1).delay(delay))))
            .finally(|b| b.write(WordAddress(0xFFFF), 2));
        let crc = store(&mut host, 0, script);
        let tag = host.send(&Request::Run(run(crc, 1)));
        let sagged = sags(&mut host, 33_000);
        let answer = host.answer(tag);
        let Reply::Run(reply) = answer.reply else { panic!("{answer:?}") };
        println!("pauses of {delay} us");
        assert_off(&mut host, sagged, AT_ONCE_US);
        assert_eq!((reply.status, host.ram(0xFFFF)), (12, 0), "{reply:?}");
        assert_tripped(&mut host, 1);
        host.end();
    }
}

/// Wherever in it the rail is lost: no word that was read without supply goes out as good.
#[test]
fn a_reply_to_read_never_carries_words_of_a_lost_rail() {
    let Some(mut host) = powered(16_000_000) else { return };
    let (mut good, mut bad) = (0, 0);
    for turn in 0..60 {
        let nonce = 100 + turn;
        host.pass(u64::from(turn) * 37);
        let tag = host.send(&read(nonce, 64, 200));
        // The request takes a millisecond on the line, the cycles 6 and more, the answer 30.
        let sagged = sags(&mut host, 900 + u64::from(turn) * 523);
        let heard = host.answer(tag);
        if let Reply::Read(_) = &heard.reply {
            assert_words(&heard.reply, nonce, 64, 200);
            good += 1;
        } else {
            assert!(fault(&heard).is_some_and(is_sag), "{heard:?}");
            bad += 1;
        }
        host.pass_to(sagged + host.cycles(30_000));
        assert_off(&mut host, sagged, 30_000);
        host.order("supply 0 0");
        rail_on(&mut host);
    }
    assert!(good > 3 && bad > 3, "{good} good, {bad} refused");
    host.end();
}

#[test]
fn a_checksum_at_work_is_refused() {
    let Some(mut host) = powered(16_000_000) else { return };
    let tag = host.send(&digest(8, 3, 1_000_000));
    let sagged = sags(&mut host, 77_000);
    let heard = host.answer(tag);
    assert!(fault(&heard).is_some_and(is_sag), "{heard:?}");
    assert_off(&mut host, sagged, AT_ONCE_US);
    assert_tripped(&mut host, 1);
    host.end();
}

#[test]
fn a_current_limit_that_acts_switches_off() {
    let Some(mut host) = powered(16_000_000) else { return };
    let tag = host.send(&digest(8, 3, 1_000_000));
    host.pass(50_000);
    host.order("limit 1");
    let at = host.now;
    let heard = host.answer(tag);
    assert!(fault(&heard).is_some_and(|f| f.code == FaultCode::OVER_CURRENT), "{heard:?}");
    assert_off(&mut host, at, AT_ONCE_US);
    assert_eq!(host.refused(&read(1, 0, 1)).code, FaultCode::OVER_CURRENT);
    assert_eq!(ping(&mut host).rail, RailState::Tripped);
    // It acts still: on is tried and ends in the same way.
    assert_eq!(host.refused(&Request::Rail(ON)).code, FaultCode::OVER_CURRENT);
    assert!(!host.state().rail.0);
    host.order("limit 0");
    rail_on(&mut host);
    host.end();
}

#[test]
fn a_rail_that_does_not_rise_is_off_again() {
    let Some(mut host) = greeted(16_000_000) else { return };
    host.order(&format!("supply 0 {SAGGED}"));
    let before = host.now;
    let refused = host.refused(&Request::Rail(ON));
    assert_eq!((refused.code, refused.detail), (FaultCode::RAIL_DID_NOT_RISE, u32::from(SAGGED)));
    let us = host.us_since(before);
    assert!((50_000..62_000).contains(&us), "`settle` is 50 ms: {us}");
    let state = host.state();
    assert_eq!((state.rail.0, state.driven, state.pulled), (false, [0; 3], [0; 3]));
    assert_eq!(ping(&mut host).rail, RailState::Tripped);
    for request in [read(1, 0, 1), permit(10)] {
        assert_eq!(host.refused(&request).code, FaultCode::RAIL_OFF);
    }
    host.order("supply 0 0");
    rail_on(&mut host);
    assert_eq!(hello(&mut host, SESSION).rail_counter, 1);
    host.end();
}

#[test]
fn a_rail_that_does_not_fall_is_named() {
    let Some(mut host) = powered(16_000_000) else { return };
    host.order("feed 1200");
    let before = host.now;
    let refused = host.refused(&Request::Rail(RailRequest::OFF));
    assert_eq!((refused.code, refused.detail), (FaultCode::POWERED_THROUGH_LINES, 1200));
    let us = host.us_since(before);
    assert!((2_000_000..2_012_000).contains(&us), "{us}");
    let state = host.state();
    assert_eq!((state.rail.0, state.driven, state.pulled), (false, [0; 3], [0; 3]));
    assert_eq!(ping(&mut host).rail, RailState::Falling);
    host.order("feed 0");
    host.pass(30_000);
    assert_eq!(ping(&mut host).rail, RailState::Off);
    host.end();
}

/// Of words that take long only a few are read between two measurements.
#[test]
fn slow_cycles_and_a_busy_line_are_no_excuse() {
    for slow in [true, false] {
        for work in [digest(8, 3, 1_000_000), read(9, 3, 200)] {
            let Some(mut host) = powered(16_000_000) else { return };
            if slow {
                slow_rom(&mut host, u16::MAX);
            }
            let tag = host.send(&work);
            while host.state().coming > 0 {
                host.pass(100);
            }
            if !slow {
                host.say(&[0x55; 3_000]);
            }
            let sagged = sags(&mut host, 3_000);
            let heard = host.answer(tag);
            assert!(fault(&heard).is_some_and(is_sag), "{heard:?}");
            assert_off(&mut host, sagged, 6_000);
            assert_tripped(&mut host, 1);
            host.end();
        }
    }
}

/// The lowest voltage is that since the last PING.
#[test]
fn a_dip_is_told_once() {
    let Some(mut host) = powered(16_000_000) else { return };
    ping(&mut host);
    let at = host.now;
    host.order(&format!("supply {at} 3100"));
    host.pass(100_000);
    host.order("supply 0 0");
    host.pass(100_000);
    let lowest = [(); 3].map(|()| ping(&mut host).rail_min.0);
    assert!((3_090..=3_100).contains(&lowest[0]), "{lowest:?}");
    assert!(lowest[1] > 3_200 && lowest[2] > 3_200, "{lowest:?}");
    host.end();
}

/// A rail that does not rise gets nothing from lines that idle high.
#[test]
fn nothing_is_driven_into_a_rail_that_does_not_rise() {
    let Some(mut host) = greeted(16_000_000) else { return };
    let since = host.now;
    host.order("supply 1 900");
    let refused = host.refused(&Request::Rail(ON));
    assert_eq!(refused.code, FaultCode::RAIL_DID_NOT_RISE, "{refused:?}");
    let moves: Vec<_> = host.moves().into_iter().filter(|one| one.at > since).collect();
    assert!(moves.iter().any(|one| one.rail), "{moves:?}");
    let fed: Vec<_> = moves.iter().filter(|one| one.control & one.levels != 0).collect();
    assert!(fed.is_empty(), "driven high: {fed:?}");
    host.end();
}

/// A module that is fed through its lines is falling, not off.
#[test]
fn a_rail_that_does_not_fall_is_not_off() {
    let Some(mut host) = greeted(16_000_000) else { return };
    host.order("feed 900");
    let refused = host.refused(&Request::Rail(RailRequest::OFF));
    assert_eq!(refused.code, FaultCode::POWERED_THROUGH_LINES, "{refused:?}");
    assert_eq!(ping(&mut host).rail, RailState::Falling);
    host.order("feed 0");
    host.pass(100_000);
    assert_eq!(ping(&mut host).rail, RailState::Off);
    host.end();
}

/// Loops in a loop, thousands of writes in a turn, do not keep the rail from being looked at.
#[test]
fn long_turns_of_a_loop_let_go_of_a_rail_that_sags() {
    for after in [30_000, 61_300] {
        let Some(mut host) = powered(16_000_000) else { return };
        let many = |b: Builder| {
            let writes = |b: Builder| (0..30).fold(b, |b, _| b.write_a(1));
            b.repeat(256, writes)
        };
        let script = Builder::new(RAM).set_a_to_b();
        let crc = store(&mut host, 0, script.critical(5, |b| b.repeat(4, many)));
        let tag = host.send(&Request::Run(run(crc, 1)));
        let sagged = sags(&mut host, after);
        let answer = host.answer(tag);
        assert!(matches!(&answer.reply, Reply::Run(run) if run.status == 12), "{answer:?}");
        assert_off(&mut host, sagged, 5_000);
        host.end();
    }
}
