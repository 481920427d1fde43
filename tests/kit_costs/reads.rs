//! READ, DIGEST and PING.

use crate::bench::{
    Both, EIGHT, EQUAL, Pair, ROM, ROM_8, ROM_16, ROM_SLOW, ROM_SLOWER, TWICE, digest, read,
};
use buswright::bus::{Precharge, ShapeId};
use buswright::wire::Request;

const NONE: Precharge = Precharge::None;
const ZEROS: Precharge = Precharge::Zeros;
const ONES: Precharge = Precharge::Ones;

#[test]
fn words_that_are_read_are_charged_what_they_cost() {
    let Some(mut both) = Both::start() else { return };
    let mut good = true;
    let mut case = |name: &str, shape: ShapeId, at: u32, precharge: Precharge, encoding: u8| {
        for count in [1, 64, 256] {
            let each = both.each(&read(shape, at, count, precharge, encoding), 10);
            good &= each.tell(&format!("READ of {count}, {name}"));
        }
    };
    case("noise, raw", ROM, 0, NONE, 0);
    case("noise, raw, zeros", ROM, 0, ZEROS, 0);
    case("noise, raw, ones", ROM, 0, ONES, 0);
    case("noise, runs", ROM, 0, NONE, 1);
    case("noise, runs, zeros", ROM, 0, ZEROS, 1);
    case("noise, runs, ones", ROM, 0, ONES, 1);
    case("equal, raw, zeros", ROM, EQUAL, ZEROS, 0);
    case("equal, runs", ROM, EQUAL, NONE, 1);
    case("equal, runs, zeros", ROM, EQUAL, ZEROS, 1);
    case("equal, runs, ones", ROM, EQUAL, ONES, 1);
    case("twice, runs, zeros", ROM, TWICE, ZEROS, 1);
    case("eight times, runs, zeros", ROM, EIGHT, ZEROS, 1);
    case("eight times, runs, ones", ROM, EIGHT, ONES, 1);
    case("noise with a strobe of 1 us, raw, zeros", ROM_SLOW, 0, ZEROS, 0);
    case("noise with a strobe of 3 us, runs, zeros", ROM_SLOWER, 0, ZEROS, 1);
    case("noise of 16 bits, raw", ROM_16, 0, NONE, 0);
    case("noise of 16 bits, runs, zeros", ROM_16, 0, ZEROS, 1);
    case("equal of 16 bits, runs, ones", ROM_16, EQUAL, ONES, 1);
    case("eight times of 16 bits, runs, zeros", ROM_16, EIGHT, ZEROS, 1);
    case("noise of 8 bits, raw", ROM_8, 0, NONE, 0);
    case("noise of 8 bits, runs, ones", ROM_8, 0, ONES, 1);
    both.end();
    assert!(good);
}

#[test]
fn checksums_and_pings_are_charged_what_they_cost() {
    let Some(mut both) = Both::start() else { return };
    let mut good = true;
    for (name, shape, precharge) in [
        ("", ROM, NONE),
        (", zeros", ROM, ZEROS),
        (", ones", ROM, ONES),
        (", a strobe of 1 us, ones", ROM_SLOW, ONES),
        (", a strobe of 3 us, ones", ROM_SLOWER, ONES),
        (" of 16 bits", ROM_16, NONE),
        (" of 16 bits, zeros", ROM_16, ZEROS),
        (" of 8 bits, zeros", ROM_8, ZEROS),
    ] {
        for count in [1, 1_000] {
            let each = both.each(&digest(shape, count, precharge), 5);
            good &= each.tell(&format!("DIGEST of {count}{name}"));
        }
    }
    // Of several PINGs that wait for the same gap one is answered, so they come one by one.
    let mut ping = Pair { kit: 0.0, simulated: 0.0 };
    for turn in 0..20 {
        let mut requests = vec![read(ROM, turn, 64, ZEROS, 0); 4];
        let without = both.cycles(&requests);
        requests.insert(1, Request::Ping);
        let more = both.cycles(&requests).slope(without, 20.0);
        ping = Pair { kit: ping.kit + more.kit, simulated: ping.simulated + more.simulated };
    }
    good &= ping.tell("PING while READs are at work");
    both.end();
    assert!(good);
}
