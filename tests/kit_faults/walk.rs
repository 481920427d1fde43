//! Single lines: what is shorted shows, and nothing is driven against it for longer than allowed.

use crate::bench::powered;
use crate::support::stepped::Stepped;
use buswright::wire::{
    BoardLine, LineAction, LineLevels, LinesReply, LinesRequest, Reply, Request, WalkRequest,
    WalkRow, encode_frame,
};

/// A walked line is driven no longer than this, and against another driver no longer than that.
const DRIVEN_US: u64 = 20;
/// See [`DRIVEN_US`].
const AGAINST_US: u64 = 2;
/// Every line at rest in a high walk: the control lines idle high, or are pulled up.
const LOW: LineLevels = LineLevels { data: 0, address: 0, control: 0x3F };
/// In a low walk.
const HIGH: LineLevels = LineLevels { data: u32::MAX, address: 0xFF_FFFF, control: 0x3F };

fn bus() -> Vec<BoardLine> {
    (0..32).map(BoardLine::Data).chain((0..24).map(BoardLine::Address)).collect()
}

fn with(mut levels: LineLevels, line: BoardLine, high: bool) -> LineLevels {
    let set = |all: u32, n: u8| if high { all | 1 << n } else { all & !(1 << n) };
    match line {
        BoardLine::Data(n) => levels.data = set(levels.data, n),
        BoardLine::Address(n) => levels.address = set(levels.address, n),
        BoardLine::Control(n) => levels.control = set(levels.control.into(), n) as u16,
    }
    levels
}

/// What a walk of all data and address lines shows where some are at a level that nothing moves, and
/// some go together.
fn wanted(
    high: bool,
    stuck: &[(BoardLine, bool)],
    pairs: &[(BoardLine, BoardLine)],
) -> Vec<WalkRow> {
    let rest =
        stuck.iter().fold(if high { LOW } else { HIGH }, |rest, &(line, at)| with(rest, line, at));
    let row = |line: BoardLine| {
        if stuck.iter().any(|&(at, _)| at == line) {
            let let_go = stuck.contains(&(line, !high));
            return WalkRow { levels: rest, let_go };
        }
        let other = pairs.iter().find_map(|&(one, other)| {
            (one == line).then_some(other).or((other == line).then_some(one))
        });
        let levels = with(rest, line, high);
        WalkRow { levels: other.map_or(levels, |other| with(levels, other, high)), let_go: false }
    };
    bus().into_iter().map(row).collect()
}

#[track_caller]
fn walk(host: &mut Stepped, high: bool, turns: u16) -> Vec<WalkRow> {
    let nonce = 0x700 + turns;
    let tag = host.send(&Request::Walk(WalkRequest { nonce, high, turns, lines: bus() }));
    // The receiver's interrupts must not make a drive longer than it may be.
    host.say(&encode_frame(&Request::Ping.encode(200)).repeat(20));
    let answer = host.answer(tag);
    let Reply::Walk(reply) = answer.reply else { panic!("{answer:?}") };
    assert_eq!(reply.nonce, nonce);
    reply.rows
}

/// No longer than allowed, and no line is left driven.
#[track_caller]
fn assert_bounds(host: &mut Stepped) {
    let state = host.state();
    let us = |cycles: u64| cycles as f64 / host.cycles(1_000_000) as f64 * 1e6;
    println!(
        "driven alone {:.2} us, against another driver {:.2} us",
        us(state.alone),
        us(state.fought_alone)
    );
    assert!(state.alone > 0 && state.alone <= host.cycles(DRIVEN_US), "{} cycles", state.alone);
    assert!(state.fought_alone <= host.cycles(AGAINST_US), "{} cycles", state.fought_alone);
    assert_eq!((state.driven, state.pulled), ([0, 0, 15], [0; 3]));
}

const CLOCKS: [u32; 2] = [16_000_000, 8_000_000];

#[test]
fn each_line_alone_shows_and_is_driven_for_a_short_time() {
    for clock in CLOCKS {
        let Some(mut host) = powered(clock) else { return };
        for high in [true, false] {
            assert_eq!(walk(&mut host, high, 3), wanted(high, &[], &[]));
        }
        assert_bounds(&mut host);
        host.end();
    }
}

#[test]
fn a_line_at_ground_or_at_the_rail_is_let_go_and_flagged() {
    use BoardLine::{Address, Data};
    let stuck = [(Data(5), false), (Data(31), true), (Address(0), true), (Address(23), false)];
    for clock in CLOCKS {
        let Some(mut host) = powered(clock) else { return };
        for tie in ["d5 ground", "d31 rail", "a0 rail", "a23 ground"] {
            host.order(&format!("tie {tie}"));
        }
        for high in [true, false] {
            let rows = walk(&mut host, high, 2);
            assert_eq!(rows, wanted(high, &stuck, &[]));
            assert_eq!(rows.iter().filter(|row| row.let_go).count(), 2);
        }
        assert!(host.state().fought_alone > 0, "it was driven at all");
        assert_bounds(&mut host);
        host.end();
    }
}

#[test]
fn two_lines_that_are_tied_show_in_both_rows() {
    use BoardLine::{Address, Data};
    let pairs = [(Data(3), Address(7)), (Data(16), Data(17)), (Address(1), Address(22))];
    let Some(mut host) = powered(16_000_000) else { return };
    for tie in ["d3 a7", "d16 d17", "a1 a22"] {
        host.order(&format!("tie {tie}"));
    }
    for high in [true, false] {
        assert_eq!(walk(&mut host, high, 2), wanted(high, &[], &pairs));
    }
    assert_eq!(host.state().fought_alone, 0, "the other one is only read");
    assert_bounds(&mut host);
    host.end();
}

/// A data line at a control line that idles high: the module's selects must not be pulled low.
#[test]
fn a_line_tied_to_a_held_control_line_is_let_go() {
    use BoardLine::Data;
    for clock in CLOCKS {
        let Some(mut host) = powered(clock) else { return };
        host.order("tie d30 c2");
        for high in [true, false] {
            assert_eq!(walk(&mut host, high, 2), wanted(high, &[(Data(30), true)], &[]));
        }
        assert_bounds(&mut host);
        host.end();
    }
}

#[test]
fn lines_that_read_opposite_are_let_go_and_flagged() {
    use BoardLine::{Address, Data};
    for clock in CLOCKS {
        let Some(mut host) = powered(clock) else { return };
        for tie in ["d31 ground", "a23 rail", "a2 ground"] {
            host.order(&format!("tie {tie}"));
        }
        let set = vec![
            (Data(31), LineAction::High),
            (Address(23), LineAction::Low),
            (Address(2), LineAction::Low),
        ];
        // One after the other, so that each is driven alone for as long as it is driven.
        for one in set {
            let tag = host.send(&Request::Lines(LinesRequest { hold_ms: 100, set: vec![one] }));
            host.say(&encode_frame(&Request::Ping.encode(200)).repeat(4));
            let answer = host.answer(tag);
            let Reply::Lines(LinesReply { levels, contended }) = answer.reply else {
                panic!("{answer:?}")
            };
            let none = LineLevels::default();
            let fought = one.0 != Address(2);
            assert_eq!(contended, if fought { with(none, one.0, true) } else { none });
            assert_eq!(levels.data >> 31, 0);
            assert_eq!((levels.address >> 23, levels.address >> 2 & 1), (1, 0));
            let driven = host.state().driven;
            assert_eq!(driven, [0, if fought { 0 } else { 4 }, 15], "only what is not fought");
            host.ask(&Request::Stop);
        }
        let state = host.state();
        assert!((1..=host.cycles(AGAINST_US)).contains(&state.fought_alone), "{state:?}");
        assert_eq!((state.driven, state.pulled), ([0, 0, 15], [0; 3]));
        host.end();
    }
}
