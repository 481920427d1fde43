//! READ and DIGEST give what the module holds.

use super::*;
use crate::bus::{Digest, Span};
use crate::wire::{Encoding, decode_runs};

#[test]
fn hello_shape_rail_read() {
    let mut host = Host::new();
    let about = host.hello(7);
    assert_eq!((about.board.as_str(), about.session), ("bench:TG-7", 7));
    assert_eq!(about.sizes.shape_slots, 8);
    let used = host.shape(0, store_shape());
    assert_eq!(used, ShapeTimes { setup: 62, pulse: 187, hold: 0, recover: 0, release: 62 });
    let on = host.rail_on(1);
    assert_eq!((on.state, on.mv, on.measured), (RailState::On, Millivolts(3300), true));
    let words = host.read(echo(0, 0, 16));
    assert_eq!(words, host.contents("store")[..64]);
    assert!(words.starts_with(b"SALTMARSH TG-7"));
}

#[test]
fn a_read_goes_both_ways_and_standing_still() {
    let mut host = Host::ready();
    let store = host.contents("store");
    let words: Vec<u32> = Width::W32.words(&store).collect();
    for step in [1, -1, 3, 0] {
        let echo = ReadEcho { step, ..echo(0, 0x1000, 200) };
        let wanted: Vec<u8> =
            echo.span().addresses().flat_map(|at| words[at.0 as usize].to_le_bytes()).collect();
        assert_eq!(host.read(echo), wanted, "step {step}");
    }
}

#[test]
fn blank_words_are_folded() {
    let mut host = Host::ready();
    let blank = 0x8_0000 / 100 * 70;
    let payload = host.read(ReadEcho { encoding: Encoding::Runs.number(), ..echo(0, blank, 256) });
    assert!(payload.len() < 12);
    assert_eq!(decode_runs(Width::W32, 256, &payload).unwrap(), [0xFF; 1024]);
}

#[test]
fn a_digest_is_that_of_the_words() {
    let mut host = Host::ready();
    let store = host.contents("store");
    let reply = host.ask(&digest(0, 0x100, 0x4000));
    let Reply::Digest(reply) = reply else { panic!("{reply:?}") };
    assert_eq!(reply.digest, Digest::of(Width::W32, &store[0x400..0x1_0400], false));
    let Request::Digest(mut down) = digest(0, 0, 0) else { unreachable!() };
    let span = Span::down(WordAddress(0x100), 0x4000);
    (down.address, down.step, down.count) = (span.start, span.step, span.count);
    let reply = host.ask(&Request::Digest(down));
    let Reply::Digest(reply) = reply else { panic!("{reply:?}") };
    assert_eq!(reply.digest, Digest::of(Width::W32, &store[0x400..0x1_0400], true));
}

#[test]
fn narrow_shapes_read_their_own_lines() {
    let mut host = Host::new();
    host.hello(1);
    host.shape(0, Shape { first_line: 16, ..shape_of(Width::W16, CS0, false) });
    host.rail_on(1);
    let store = host.contents("store");
    let upper: Vec<u8> = store.chunks(4).take(8).flat_map(|word| [word[2], word[3]]).collect();
    assert_eq!(host.read(echo(0, 0, 8)), upper);
}
