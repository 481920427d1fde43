//! How runs are ended from outside: `finally` runs exactly when it must.

use super::run_host::*;
use super::*;
use crate::bus::script::{Builder, Script};
use crate::sim::Event;
use crate::wire::RunReply;
use proptest::prelude::*;

/// Turns of a write, a pause, and a critical pair of writes; in the end 9 at 0x1F.
fn guarded() -> Script {
    built(
        Builder::new(ShapeId(0))
            .repeat(20, |b| {
                b.write(WordAddress(0x10), 1).delay(3_000).critical(50, |b| {
                    b.write(WordAddress(0x20), 1).delay(4_000).write(WordAddress(0x20), 0)
                })
            })
            .finally(|b| b.delay(500).write(WordAddress(0x1F), 9)),
    )
}

#[test]
fn a_new_session_ends_a_run_in_order_and_is_served_after_it() {
    let mut h = RunHost::permitted();
    let script = built(
        Builder::new(ShapeId(0))
            .critical(300, |b| b.write(WordAddress(0x20), 1).delay(200_000))
            .delay(9_000_000)
            .finally(|b| b.write(WordAddress(0x1F), 9)),
    );
    h.store(0, &script);
    let run = h.first(&script, &[]);
    let old = h.host.send(&Request::Run(run));
    h.host.run_ms(30);
    let about = h.host.hello(8);
    assert!((200..=310).contains(&about.still_running_ms), "{about:?}");
    assert_eq!((about.previous_run, about.previous_status), (1, 255));
    let (code, left) = h.host.fault(&read(0, 0, 1));
    assert_eq!(code, FaultCode::EARLIER_RUN);
    assert!(left > 0);
    h.host.run_ms(200);
    let about = h.host.hello(8);
    assert_eq!((about.still_running_ms, about.previous_status), (0, 4));
    assert!(h.host.replies.iter().all(|(_, tag, _)| *tag != old), "not told to another host");
    assert_eq!(h.written().last(), Some(&(0x1F, 9)));
    assert_eq!(h.host.fault(&read(0, 0, 1)).0, FaultCode::NO_SHAPE);
}

#[test]
fn the_dead_man_lets_a_run_come_to_its_end_before_the_rail_goes() {
    let mut h = RunHost::permitted();
    h.store(0, &slow(8_000));
    let run = h.first(&slow(8_000), &[]);
    let tag = h.host.send(&Request::Run(run));
    h.host.run_ms(5_200);
    let log = h.log.lock().unwrap();
    let (_, at, value, rail) = log.writes.last().copied().unwrap();
    assert_eq!((at, value, rail), (0x1F, 9, Millivolts(3_300)));
    assert_eq!(log.rail, Millivolts(0));
    drop(log);
    assert!(matches!(h.host.wait(tag), Reply::Run(reply) if reply.status == 2));
    assert_eq!(h.host.ping().rail, RailState::Off);
}

/// What comes in the middle of a run.
#[derive(Clone, Copy, Debug)]
enum Cut {
    Stop,
    NewSession,
    DeadMan,
    Sag,
    OverCurrent,
    Reset,
    RailOff,
}

fn any_cut() -> impl Strategy<Value = Cut> {
    prop_oneof![
        Just(Cut::Stop),
        Just(Cut::NewSession),
        Just(Cut::DeadMan),
        Just(Cut::Sag),
        Just(Cut::OverCurrent),
        Just(Cut::Reset),
        Just(Cut::RailOff),
    ]
}

/// The writes make sense: pairs are whole unless the power went, the last part comes last.
fn ordered(h: &RunHost, whole: bool) -> Result<usize, TestCaseError> {
    let written = h.written();
    let pairs: Vec<u32> = written.iter().filter(|w| w.0 == 0x20).map(|w| w.1).collect();
    for (n, value) in pairs.iter().enumerate() {
        prop_assert_eq!(*value as usize, 1 - n % 2, "{:?}", written);
    }
    prop_assert!(!whole || pairs.len().is_multiple_of(2), "cut within critical: {:?}", written);
    let last = written.iter().filter(|w| w.0 == 0x1F).count();
    prop_assert!(last == 0 || written.last() == Some(&(0x1F, 9)));
    let log = h.log.lock().unwrap();
    prop_assert!(log.writes.iter().all(|(.., rail)| *rail == Millivolts(3_300)), "unpowered");
    Ok(last)
}

fn reply_of(h: &mut RunHost, tag: u8) -> RunReply {
    match h.host.wait(tag) {
        Reply::Run(reply) => reply,
        other => panic!("{other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn the_last_part_runs_exactly_when_it_must(cut in any_cut(), us in 0_u64..170_000) {
        let mut h = RunHost::permitted();
        h.store(0, &guarded());
        let finally_at = guarded().0.len() as u16 - 11;
        let run = h.first(&guarded(), &[]);
        let when = Nanos::from_micros(us);
        if let Cut::DeadMan = cut {
            // Five seconds after the RUN the run is somewhere in its middle.
            h.host.run_ms(1);
        }
        let events = [
            (Cut::Sag, Event::Sag(Millivolts(1_000))),
            (Cut::OverCurrent, Event::OverCurrent),
            (Cut::Reset, Event::Reset),
        ];
        for (of, event) in events {
            if std::mem::discriminant(&of) == std::mem::discriminant(&cut) {
                h.event(when, event);
            }
        }
        let tag = if let Cut::DeadMan = cut {
            // A long delay first, so that five seconds are over at `us` of the guarded part.
            let long = built(
                Builder::new(ShapeId(0)).delay(5_000_000 - us as u32).repeat(20, |b| {
                    b.write(WordAddress(0x10), 1).delay(3_000).critical(50, |b| {
                        b.write(WordAddress(0x20), 1).delay(4_000).write(WordAddress(0x20), 0)
                    })
                }).finally(|b| b.delay(500).write(WordAddress(0x1F), 9)),
            );
            h.store(0, &long);
            let run = crate::wire::RunRequest { script_crc: crate::bus::crc32(&long.0), ..run };
            h.host.send(&Request::Run(run))
        } else {
            h.host.send(&Request::Run(run))
        };
        match cut {
            Cut::Stop => {
                h.host.run(when);
                let asked = h.host.now;
                let reply = h.host.ask(&Request::Stop);
                let Reply::Stop(stop) = reply else { panic!("{reply:?}") };
                let reply = reply_of(&mut h, tag);
                // Line and bridge need 40 ms at most for both replies.
                let took = h.host.now.since(asked).as_millis();
                prop_assert!(took <= u64::from(stop.within_ms) + 40, "{took} of {stop:?}");
                prop_assert!(reply.status <= 1);
                prop_assert_eq!(ordered(&h, true)?, 1);
            }
            Cut::NewSession => {
                h.host.run(when);
                let still = h.host.hello(8).still_running_ms;
                h.host.run_ms(u64::from(still) + 1);
                prop_assert_eq!(h.host.hello(8).still_running_ms, 0);
                // Nothing was begun if HELLO came before the RUN's turn.
                let about = h.host.hello(8);
                prop_assert_eq!(ordered(&h, true)?, usize::from(about.previous_run == 1));
                prop_assert!(matches!(about.previous_status, 0 | 4));
            }
            Cut::DeadMan => {
                h.host.run_ms(5_300);
                let reply = reply_of(&mut h, tag);
                prop_assert!(matches!(reply.status, 0 | 2));
                prop_assert_eq!(ordered(&h, true)?, 1);
                prop_assert!(!h.host.bench.adapter().rail_is_on());
            }
            Cut::Sag | Cut::OverCurrent => {
                // Before the run has begun it is refused.
                let ended = match h.host.wait(tag) {
                    Reply::Run(reply) => Some(reply),
                    _ => None,
                };
                let last = ordered(&h, false)?;
                let status = ended.as_ref().map(|reply| reply.status);
                prop_assert!(matches!(status, None | Some(0 | 12)));
                match ended {
                    Some(reply) if reply.status == 0 => prop_assert_eq!(last, 1),
                    Some(reply) if reply.at >= finally_at => prop_assert!(last <= 1),
                    _ => prop_assert_eq!(last, 0),
                }
                prop_assert!(status == Some(0) || !h.host.bench.adapter().rail_is_on());
            }
            Cut::Reset => {
                h.host.run_ms(600);
                ordered(&h, false)?;
                prop_assert_eq!(h.host.fault(&Request::Ping).0, FaultCode::NO_SESSION);
            }
            Cut::RailOff => {
                h.host.run(when);
                let off = h.host.send(&Request::Rail(RailRequest::OFF));
                prop_assert_eq!(reply_of(&mut h, tag).status, 0, "it waits its turn");
                prop_assert!(matches!(h.host.wait(off), Reply::Rail(_)));
                prop_assert_eq!(ordered(&h, true)?, 1);
            }
        }
        prop_assert_eq!(h.host.bench.adapter().books().runs_twice, 0);
    }
}
