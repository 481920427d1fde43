//! RAIL, sags and the dead-man.

use super::*;
use crate::sim::{Event, RailEntry, RailModel, RailWhy};
use crate::wire::Kind;

fn with_rail(rail: RailModel) -> Host {
    let mut host = Host::edited("TG-7", |d| d.adapter.rail = rail);
    host.hello(7);
    host.shape(0, store_shape());
    host
}

fn whys(host: &Host) -> Vec<(bool, RailWhy)> {
    host.bench.adapter().books().rail.iter().map(|entry| (entry.on, entry.why)).collect()
}

#[test]
fn on_and_off_are_measured() {
    let mut host = with_rail(RailModel::default());
    assert_eq!(host.ping().rail, RailState::Off);
    let on = host.rail_on(1);
    assert_eq!((on.state, on.rail_counter, on.took_ms), (RailState::On, 0, 6));
    assert_eq!(host.rail_on(1).took_ms, 0);
    let ping = host.ping();
    assert_eq!((ping.rail_mv, ping.rail_min), (Millivolts(3300), Millivolts(3300)));
    // Evenly from 3,300 mV to 0 in 40 ms: below 300 mV after 36.4 ms.
    let off = host.rail(RailRequest::OFF);
    assert_eq!((off.state, off.rail_counter, off.took_ms), (RailState::Off, 1, 36));
    assert!(off.mv < Millivolts(300));
    assert_eq!(host.rail(RailRequest::OFF).rail_counter, 1);
    assert_eq!(host.fault(&read(0, 0, 1)), (FaultCode::RAIL_OFF, 0));
    assert_eq!(host.fault(&digest(0, 0, 1)), (FaultCode::RAIL_OFF, 0));
    assert_eq!(whys(&host), [(true, RailWhy::Asked), (false, RailWhy::Asked)]);
}

#[test]
fn the_voltage_must_be_one_of_the_board_s() {
    let mut host = with_rail(RailModel::default());
    for mv in [3_134, 3_466, 5_000, 0] {
        let request = RailRequest { expected: Millivolts(mv), ..rail_on(1) };
        assert_eq!(host.fault(&Request::Rail(request)), (FaultCode::VOLTAGE_NOT_POSSIBLE, 3300));
    }
    let request = RailRequest { expected: Millivolts(3_135), ..rail_on(1) };
    assert_eq!(host.rail(request).mv, Millivolts(3300));
}

#[test]
fn a_rail_that_does_not_rise_is_opened() {
    let mut host = with_rail(RailModel { rises: false, ..RailModel::default() });
    let start = host.now;
    assert_eq!(host.fault(&Request::Rail(rail_on(1))), (FaultCode::RAIL_DID_NOT_RISE, 660));
    assert!(host.now.since(start) >= Nanos::from_millis(50));
    let ping = host.ping();
    assert_eq!((ping.rail, ping.rail_counter), (RailState::Tripped, 1));
    assert_eq!(host.fault(&read(0, 0, 1)).0, FaultCode::RAIL_OFF);
    assert_eq!(whys(&host), [(false, RailWhy::DidNotRise)]);
}

#[test]
fn a_slow_rail_misses_the_settle_time() {
    let mut host = with_rail(RailModel { rise: Nanos::from_millis(500), ..RailModel::default() });
    let (code, mv) = host.fault(&Request::Rail(rail_on(1)));
    assert_eq!((code, mv), (FaultCode::RAIL_DID_NOT_RISE, 330));
}

#[test]
fn a_sag_opens_the_rail_at_once_and_is_told() {
    let sag = Some((Nanos::from_millis(500), Millivolts(2_400)));
    let mut host = with_rail(RailModel { sag, ..RailModel::default() });
    host.rail_on(1);
    let long = host.send(&digest(0, 0, 0x8_0000));
    assert_eq!(host.fault_of(long), (FaultCode::RAIL_SAGGED, 2_400));
    assert_eq!(host.fault(&read(0, 0, 1)), (FaultCode::RAIL_SAGGED, 2_400));
    let ping = host.ping();
    assert_eq!((ping.rail, ping.rail_counter), (RailState::Tripped, 1));
    let off = host.rail(RailRequest::OFF);
    assert_eq!((off.state, off.rail_counter), (RailState::Off, 1));
    assert_eq!(host.fault(&read(0, 0, 1)), (FaultCode::RAIL_OFF, 0));
}

#[test]
fn a_dip_above_the_floor_shows_as_the_minimum() {
    let mut host = with_rail(RailModel::default());
    host.rail_on(1);
    host.bench.at(host.now, Event::Sag(Millivolts(3_050)));
    host.run_ms(1);
    let ping = host.ping();
    assert_eq!((ping.rail, ping.rail_min), (RailState::On, Millivolts(3_050)));
}

#[test]
fn over_current_opens_the_rail() {
    let mut host = with_rail(RailModel::default());
    host.rail_on(1);
    host.bench.after(1, Kind::DIGEST, Event::OverCurrent);
    assert_eq!(host.fault(&digest(0, 0, 0x8_0000)), (FaultCode::OVER_CURRENT, 0));
    assert_eq!(host.fault(&read(0, 0, 1)), (FaultCode::OVER_CURRENT, 0));
    assert_eq!(whys(&host).last(), Some(&(false, RailWhy::OverCurrent)));
}

#[test]
fn a_fed_rail_is_a_fault_after_two_seconds() {
    let mut host = with_rail(RailModel { feeds_back: true, ..RailModel::default() });
    host.rail_on(1);
    let start = host.now;
    let off = host.fault(&Request::Rail(RailRequest::OFF));
    assert_eq!(off, (FaultCode::POWERED_THROUGH_LINES, 900));
    assert!(host.now.since(start) >= Nanos::from_secs(2));
    assert_eq!(host.ping().rail, RailState::Falling);
}

#[test]
fn a_board_without_sense_says_what_it_declares() {
    let mut host = Host::edited("TG-7", |d| {
        d.adapter.sensed = false;
        d.adapter.rail.rises = false;
    });
    host.hello(7);
    host.shape(0, store_shape());
    let on = host.rail_on(1);
    assert_eq!((on.mv, on.measured, on.took_ms), (Millivolts(3300), false, 50));
    // The module has no supply all the same, and its books say so.
    host.read(echo(0, 0, 1));
    assert_eq!(host.bench.adapter().socket().books().unwrap().violation_count, 1);
    // Nothing is measured, so it waits the whole two seconds, and says falling meanwhile.
    let off = host.send(&Request::Rail(RailRequest::OFF));
    host.run_ms(1_000);
    assert_eq!(host.ping().rail, RailState::Falling);
    let reply = host.wait(off);
    let Reply::Rail(off) = reply else { panic!("{reply:?}") };
    assert_eq!((off.state, off.mv, off.measured), (RailState::Off, Millivolts(0), false));
    assert_eq!(off.took_ms, 2_000);
    assert!(host.rail(RailRequest::OFF).took_ms < 2);
}

#[test]
fn only_the_rail_that_the_board_is_set_to_counts() {
    let mut host =
        Host::edited("TG-7", |d| d.adapter.rails = vec![Millivolts(5000), Millivolts(3300)]);
    host.hello(7);
    host.shape(0, store_shape());
    assert_eq!(host.fault(&Request::Rail(rail_on(1))), (FaultCode::VOLTAGE_NOT_POSSIBLE, 5000));
}

#[test]
fn a_new_floor_above_the_rail_opens_it() {
    let mut host = with_rail(RailModel::default());
    host.rail_on(1);
    let request = RailRequest { floor: Millivolts(3_400), ..rail_on(1) };
    assert_eq!(host.fault(&Request::Rail(request)), (FaultCode::RAIL_SAGGED, 3300));
    assert_eq!(host.ping().rail, RailState::Tripped);
}

#[test]
fn over_current_while_the_rail_rises_leaves_it_open() {
    let mut host = with_rail(RailModel::default());
    let on = host.send(&Request::Rail(rail_on(1)));
    // Risen, not yet settled: the request arrives after about 1.6 ms, the rise takes 5.
    host.bench.at(host.now + Nanos::from_micros(7_200), Event::OverCurrent);
    assert_eq!(host.fault_of(on), (FaultCode::OVER_CURRENT, 0));
    assert!(!host.bench.adapter().rail_is_on());
    assert_eq!(host.ping().rail, RailState::Tripped);
}

#[test]
fn a_rail_on_that_waited_for_a_trip_is_not_tried() {
    let mut host = with_rail(RailModel::default());
    host.rail_on(1);
    let long = host.send(&digest(0, 0, 0x8_0000));
    let again = host.send(&Request::Rail(rail_on(1)));
    host.bench.at(host.now + Nanos::from_millis(100), Event::OverCurrent);
    assert_eq!(host.fault_of(long), (FaultCode::OVER_CURRENT, 0));
    assert_eq!(host.fault_of(again), (FaultCode::OVER_CURRENT, 0));
    assert_eq!(host.rail_on(1).state, RailState::On);
}

#[test]
fn silence_of_five_seconds_opens_the_rail() {
    let mut host = Host::ready();
    let heard = host.now;
    host.run_ms(4_900);
    assert!(host.bench.adapter().rail_is_on());
    host.ping();
    host.run_ms(4_900);
    assert!(host.bench.adapter().rail_is_on());
    host.run_ms(200);
    assert!(!host.bench.adapter().rail_is_on());
    let last = host.bench.adapter().books().rail.last().copied();
    let RailEntry { at, why, .. } = last.unwrap();
    assert_eq!(why, RailWhy::DeadMan);
    assert!(at.since(heard) > Nanos::from_millis(9_800));
    assert_eq!(host.ping().rail_counter, 1);
    assert_eq!(host.fault(&read(0, 0, 1)), (FaultCode::RAIL_OFF, 0));
}

#[test]
fn the_dead_man_halts_a_digest() {
    let mut host = Host::edited("TG-7b", |_| ());
    host.hello(7);
    host.shape(0, shape_of(Width::W16, CS0, false));
    host.rail_on(1);
    // 2,097,152 words of 16 bits at 592 cycles are 77 s.
    let long = host.send(&digest(0, 0, 0x20_0000));
    assert_eq!(host.fault_of(long), (FaultCode::HALTED, 0));
    assert!(!host.bench.adapter().rail_is_on());
}

#[test]
fn pings_keep_the_rail_during_a_digest() {
    let mut host = Host::edited("TG-7b", |_| ());
    host.hello(7);
    host.shape(0, shape_of(Width::W16, CS0, false));
    host.rail_on(1);
    let long = host.send(&digest(0, 0, 0x20_0000));
    for _ in 0..75 {
        host.run_ms(1_000);
        host.ping();
    }
    assert!(matches!(host.wait(long), Reply::Digest(_)));
}
