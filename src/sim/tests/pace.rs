//! Pace, and how fast the simulation itself is.

use super::*;
use crate::sim::Pace;

#[test]
fn at_instant_pace_only_the_rail_takes_time() {
    let mut host = Host::edited("TG-7", |d| d.line.pace = Pace::Instant);
    host.hello(1);
    host.shape(0, store_shape());
    assert_eq!(host.now, Nanos::ZERO);
    host.rail_on(1);
    assert_eq!(host.now, Nanos::from_millis(6));
    let before = host.now;
    for n in 0..100 {
        host.read(echo(0, n * 256, 256));
    }
    assert_eq!(host.now, before);
    assert!(matches!(host.ask(&digest(0, 0, 0x8_0000)), Reply::Digest(_)));
    assert!(host.now.since(before) < Nanos::from_micros(10));
    host.run_ms(5_001);
    assert!(!host.bench.adapter().rail_is_on(), "timers stay");
}

/// 4 MiB through bench and line, window of twelve requests; the figure printed with
/// `--nocapture` is virtual time, the machine's own is the test's.
#[test]
fn four_mebibytes_pass_in_virtual_time() {
    let mut host = Host::edited("TG-7b", |_| ());
    host.hello(1);
    host.shape(0, shape_of(Width::W16, CS0, false));
    host.rail_on(1);
    // Words of 16 bits, of which the adapter reads half as many as a line of 1 Mbaud would carry.
    host.set_rate(250_000);
    host.ping();
    let start = host.now;
    let wanted = host.contents("store");
    let mut got = Vec::with_capacity(wanted.len());
    let blocks = 0x20_0000 / 512;
    let mut asked = 0;
    for done in 0..blocks {
        while asked < blocks && asked < done + 12 {
            let request = read(0, asked * 512, 512);
            host.send_body(&request.encode(asked as u8));
            asked += 1;
        }
        let Reply::Read(reply) = host.wait(done as u8) else { panic!() };
        got.extend(reply.payload);
    }
    assert!(got == wanted);
    // 1,049 bytes a block at 25,000 bytes/s, and the first request's way.
    let line = Nanos::from_micros(40) * 1_049 * u64::from(blocks);
    let took = host.now.since(start);
    assert!(took < line + Nanos::from_millis(50), "{took:?} for {line:?}");
    println!("payload share {:.4}", wanted.len() as f64 / took.as_secs_f64() / 25_000.0);
}
