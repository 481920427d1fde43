//! The controller is reset in the midst of a run, as opening its port does with many boards.

use crate::bench::{RAM, SESSION, hello, permit, ping, powered, rail_on, read, run, shapes, store};
use crate::support::stepped::Stepped;
use buswright::bus::WordAddress;
use buswright::bus::script::Builder;
use buswright::wire::{
    FaultCode, HelloRequest, RailState, Reply, Request, encode_frame, encode_frame_after_idle,
};

#[test]
fn a_reset_ends_everything_and_nothing_goes_on() {
    let Some(mut host) = powered(16_000_000) else { return };
    let before = hello(&mut host, SESSION);
    let main = Builder::new(RAM).repeat(50_000, |b| b.write_a(0x5555_0000).step(1));
    let crc = store(&mut host, 0, main.finally(|b| b.write(WordAddress(0xFFFF), 1)));
    host.send(&Request::Run(run(crc, 1)));
    host.pass(150_000);
    let writes = host.state().writes;
    assert!(writes > 500 && host.state().rail.0, "it is at work");
    host.order("reset");
    let (now, state) = (host.now, host.state());
    assert_eq!((state.rail.0, state.driven, state.pulled), (false, [0; 3], [0; 3]));
    assert!(state.rail.1 == now && state.writes - writes <= 1);
    let writes = state.writes;

    // Nobody has said HELLO yet.
    host.pass(40_000);
    let moves = host.moves();
    assert!(moves.iter().rev().take_while(|step| step.at > now).all(|step| !step.rail));
    assert_eq!(host.refused(&Request::Ping).code, FaultCode::NO_SESSION);
    assert_eq!(host.refused(&Request::Run(run(crc, 2))).code, FaultCode::NO_SESSION);
    let after = hello(&mut host, SESSION);
    assert_ne!(after.boot_id, before.boot_id, "a new boot id");
    assert_eq!((after.rail_counter, after.still_running_ms), (0, 0), "{after:?}");
    let same = buswright::wire::HelloReply {
        boot_id: before.boot_id,
        rail_counter: before.rail_counter,
        ..after.clone()
    };
    assert_eq!(same, before, "no earlier session, since the reset");
    let said = ping(&mut host);
    assert_eq!((said.rail, said.last_run, said.last_status), (RailState::Off, 0, 0), "{said:?}");
    assert_eq!((said.permit_s, said.running, said.boot_id), (0, false, after.boot_id));

    // Shapes, scripts, permits and the chain are empty: run 2 is not the next, run 1 is, and it is
    // not answered with a reply of before.
    assert_eq!(host.refused(&permit(5)).code, FaultCode::NO_SHAPE);
    let not_next = host.refused(&Request::Run(run(crc, 2)));
    assert_eq!((not_next.code, not_next.detail), (FaultCode::NOT_NEXT_RUN, 0));
    assert_eq!(host.refused(&Request::Run(run(crc, 1))).code, FaultCode::RAIL_OFF);
    shapes(&mut host);
    rail_on(&mut host);
    assert_eq!(host.refused(&Request::Run(run(crc, 1))).code, FaultCode::NO_SCRIPT);
    let Reply::Read(_) = host.ask(&read(3, 0, 4)) else { panic!() };
    host.pass(100_000);
    assert_eq!(host.state().writes, writes, "the run is not gone on with");
    host.end();
}

/// The end of a reply that the reset cut off, and a frame that began while nobody listened, spoil
/// nothing: a HELLO that came whole is answered.
#[test]
fn a_hello_that_comes_while_the_controller_starts_is_answered() {
    let ask = Request::Hello(HelloRequest { major: 1, session: 9 });
    let begun = |first: &[u8]| [first, &encode_frame_after_idle(&ask.encode(77))].concat();
    // Frames before it: none; the rest of one; one without a delimiter before it.
    let whole = [encode_frame(&Request::Ping.encode(3)), encode_frame(&ask.encode(77))].concat();
    let streams =
        [begun(&[]), begun(&[0x11, 0x22]), begun(&[7]), begun(&[3, 1, 0]), begun(&[0; 9]), whole];
    for rate in [250_000, 1_000_000] {
        let machine = Stepped::start_at(16_000_000, rate, &[0; 64], 0);
        let Some(mut host) = machine else { return };
        host.order(&format!("rate {rate}"));
        let mut ids = Vec::new();
        for stream in &streams {
            let mut first = None;
            for late in (0..1_700).step_by(100).chain((1_700..2_600).step_by(20)) {
                host.order("reset");
                host.pass(late);
                host.say(stream);
                let Some(reply) = answer(&mut host) else {
                    assert!(first.is_none(), "{late} us after the reset, {stream:02X?}: no answer");
                    continue;
                };
                first.get_or_insert(late);
                let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
                ids.push(hello.boot_id);
            }
            println!("at {rate} baud answered from {first:?} us after the reset on");
            assert!(first.is_some_and(|us| us < 2_500), "{first:?}");
        }
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "each boot has an id of its own");
        host.end();
    }
}

/// The answer to tag 77, if it comes.
fn answer(host: &mut Stepped) -> Option<Reply> {
    while let Some(heard) = host.hear(20_000) {
        if heard.tag == 77 {
            return Some(heard.reply);
        }
    }
    None
}
