//! Sessions that follow each other while a run of the first is still at work.

use crate::bench::{RAM, SESSION, hello, permit, powered, rail_on, run, shapes, store};
use buswright::bus::WordAddress;
use buswright::bus::script::Builder;
use buswright::wire::{FaultCode, Reply, Request};

/// A host that comes back under its old name gets no old answer: nothing of before is made again, and
/// nothing is told to be made that was not.
#[test]
fn a_session_that_comes_back_is_a_new_one() {
    let Some(mut host) = powered(16_000_000) else { return };
    // It ends good, after the two HELLOs.
    let long = Builder::new(RAM).critical(5_000, |b| b.delay(1_500_000).write_b(0x55));
    let crc = store(&mut host, 0, long);
    let request = Request::Run(run(crc, 1));
    host.send(&request);
    host.pass(300_000);
    for session in [SESSION + 1, SESSION] {
        hello(&mut host, session);
    }
    host.pass(2_000_000);
    assert_eq!(host.ram(0x40), 0x55, "the run has come to its end");
    hello(&mut host, SESSION);
    // Without a shape and a script of this session.
    let refused = host.refused(&request);
    assert_ne!(refused.code, FaultCode::SESSION_ENDED, "{refused:?}");
    shapes(&mut host);
    rail_on(&mut host);
    host.ask(&permit(600));
    let other = Builder::new(RAM).write(WordAddress(0x41), 0x66);
    let crc = store(&mut host, 0, other);
    let Reply::Run(reply) = host.ask(&Request::Run(run(crc, 1))) else { panic!("no RUN") };
    assert_eq!((reply.status, host.ram(0x41)), (0, 0x66), "{reply:?}");
    host.end();
}
