//! Single lines and the levels between two cycles: nothing may look like a write on the way.

use crate::bench::{RAM, RAM_WORDS, powered, rail_on, run, shape, store};
use crate::support::stepped::{Move, Stepped};
use BoardLine::{Address, Control, Data};
use LineAction::{High, Input, Low};
use buswright::bus::script::{Builder, Line};
use buswright::bus::{Levels, Phases, Shape, ShapeId, WordAddress};
use buswright::wire::{
    BoardLine, FaultCode, LineAction, LinesReply, LinesRequest, PermitRequest, Reply, Request,
    ShapeRequest,
};

/// Write strobe, the select of the RAM, and a line of no shape.
const WE: u64 = 2;
const CS1: u64 = 8;
const RST: u64 = 16;

#[track_caller]
fn lines(host: &mut Stepped, hold_ms: u16, set: &[(BoardLine, LineAction)]) -> LinesReply {
    let reply = host.ask(&Request::Lines(LinesRequest { hold_ms, set: set.to_vec() }));
    let Reply::Lines(reply) = reply else { panic!("{reply:?}") };
    reply
}

/// With leave to move control lines.
fn led() -> Option<Stepped> {
    let mut host = powered(16_000_000)?;
    let reply = host.ask(&Request::Permit(PermitRequest {
        shape: RAM,
        lines: true,
        seconds: 600,
        start: WordAddress(0),
        words: RAM_WORDS,
        lanes: u32::MAX,
        address_mask: 0,
        addresses: Vec::new(),
    }));
    assert!(matches!(reply, Reply::Permit(_)), "{reply:?}");
    Some(host)
}

/// Moves from a cycle on that end with the RAM selected and its write strobe active.
fn writing(host: &mut Stepped, since: u64) -> Vec<Move> {
    let active = |one: &Move| one.levels & (WE | CS1) == 0 && one.control & (WE | CS1) == WE | CS1;
    host.moves().into_iter().filter(|one| one.at > since && active(one)).collect()
}

/// A write made of single lines, ended in each way: as long as it is shown, address and data stand.
#[test]
fn a_write_by_single_lines_ends_with_its_strobe() {
    type Ends = fn(&mut Stepped);
    let ends: [(&str, Ends); 4] = [
        ("the strobe goes back", |host| {
            lines(host, 60_000, &[(Control(1), High)]);
        }),
        ("all go", |host| {
            let all = (0..32).map(Data).chain((0..24).map(Address));
            let all: Vec<_> = all.chain([Control(1), Control(3)]).map(|n| (n, Input)).collect();
            lines(host, 60_000, &all);
        }),
        ("stop", |host| drop(host.ask(&Request::Stop))),
        ("time is over", |host| host.pass(1_000_000)),
    ];
    for (name, end) in ends {
        let Some(mut host) = led() else { return };
        let bus = (0..32).map(Data).chain((0..24).map(Address));
        let set: Vec<_> = bus.map(|line| (line, Low)).collect();
        lines(&mut host, 60_000, &set);
        lines(&mut host, 60_000, &[(Control(3), Low), (Address(5), High)]);
        let since = host.now;
        lines(&mut host, 800, &[(Control(1), Low), (Data(7), High)]);
        end(&mut host);
        let shown = writing(&mut host, since);
        assert!(!shown.is_empty(), "{name}: it was shown");
        let whole = shown.iter().all(|one| (one.data, one.address) == (0xFFFF_FFFF, 0xFF_FFFF));
        assert!(whole, "{name}: {shown:?}");
        let now = host.state();
        assert_eq!(now.driven[2] & (WE | CS1), WE | CS1, "{name}: held at idle");
        assert_eq!(host.ram(0x20), 0x80, "{name}: what the lines said");
        host.end();
    }
}

/// What a rail that went by itself had on its lines is forgotten with it; and on the way no line is
/// driven low that was not.
#[test]
fn a_trip_forgets_the_lines() {
    let Some(mut host) = led() else { return };
    lines(&mut host, 60_000, &[(Data(3), High), (Address(5), High), (Control(4), High)]);
    let since = host.now;
    host.order("limit 1");
    host.pass(10_000);
    host.order("limit 0");
    assert!(!host.state().rail.0, "it tripped");
    let moves: Vec<_> = host.moves().into_iter().filter(|one| one.at > since).collect();
    let low: Vec<_> = moves.iter().filter(|one| one.control & !one.levels & RST != 0).collect();
    assert!(low.is_empty() && !moves.is_empty(), "driven low: {low:?}");
    let reply = lines(&mut host, 0, &[(Data(0), Low)]);
    assert_eq!(reply.contended.data, 0);
    host.pass(100_000);
    rail_on(&mut host);
    lines(&mut host, 60_000, &[(Address(0), Low)]);
    assert_eq!(host.state().driven[..2], [0, 1], "nothing of before is driven");
    host.end();
}

/// A strobe that no idle level names is let go after a write: it does not pass through its active
/// level once more, and before the write it shows the other one.
#[test]
fn a_strobe_without_an_idle_level_is_let_go() {
    for setup in [0_u16, 2] {
        let Some(mut host) = led() else { return };
        let mut bare = shape(RAM);
        bare.idle = Levels { mask: 13, level: 13 };
        let low = |mask| Levels { mask, level: 0 };
        let setup = Levels { mask: 8 | setup, level: setup };
        bare.write = Some(Phases { setup, strobe: low(2) });
        // The other shape holds the line in its idle.
        let mut other = shape(crate::bench::ROM);
        other.idle = Levels { mask: 13, level: 13 };
        other.write = None;
        let off = Request::Rail(buswright::wire::RailRequest::OFF);
        host.ask(&off);
        crate::bench::hello(&mut host, 9);
        for (id, shape) in [(crate::bench::ROM, other), (RAM, bare)] {
            let reply = host.ask(&Request::Shape(ShapeRequest { id, shape }));
            assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
        }
        rail_on(&mut host);
        host.ask(&crate::bench::permit(600));
        let crc = store(&mut host, 0, Builder::new(RAM).write_b(0x77).write_b(0x78));
        let since = host.now;
        let mut request = run(crc, 1);
        request.id.session = 9;
        let reply = host.ask(&Request::Run(request));
        assert!(matches!(&reply, Reply::Run(run) if run.status == 0), "{reply:?}");
        assert_eq!(host.ram(0x40), 0x78);
        // Each write shows its strobe once, with the RAM selected before and behind it.
        let moves: Vec<_> = host.moves().into_iter().filter(|one| one.at > since).collect();
        let strobed = |one: &Move| one.control & WE != 0 && one.levels & WE == 0;
        let begun = moves.windows(2).filter(|two| !strobed(&two[0]) && strobed(&two[1])).count();
        assert_eq!(begun, 2, "setup {setup:?}: {moves:?}");
        for one in moves.iter().filter(|one| strobed(one)) {
            assert_eq!((one.levels & CS1, one.data), (0, 0xFFFF_FFFF), "{setup:?}: {one:?}");
        }
        host.end();
    }
}

/// A line refused names what was asked, not what an earlier rail had.
#[test]
fn with_the_rail_off_only_what_is_asked_is_refused() {
    let Some(mut host) = led() else { return };
    lines(&mut host, 60_000, &[(Data(3), High)]);
    host.ask(&Request::Rail(buswright::wire::RailRequest::OFF));
    lines(&mut host, 0, &[(Data(0), Low)]);
    let set = vec![(Data(9), High)];
    let refused = host.refused(&Request::Lines(LinesRequest { hold_ms: 0, set }));
    assert_eq!((refused.code, refused.detail), (FaultCode::LINE_REFUSED, 9 << 8));
    host.end();
}

/// A line that something else holds is an input from then on, whatever it was before.
#[test]
fn a_line_that_is_held_by_something_else_stays_let_go() {
    type Before = fn(&mut Stepped);
    let before: [(&str, Before); 3] = [
        ("driven low", |host| {
            lines(host, 60_000, &[(Data(0), Low)]);
        }),
        ("pulled up", |host| {
            lines(host, 60_000, &[(Data(0), LineAction::PullUp)]);
        }),
        ("driven high, and not asked for again", |host| {
            lines(host, 60_000, &[(Data(0), High)]);
        }),
    ];
    for (name, before) in before {
        let Some(mut host) = led() else { return };
        before(&mut host);
        host.order("tie d0 ground");
        let again = if name.contains("again") { Address(3) } else { Data(0) };
        let reply = lines(&mut host, 60_000, &[(again, High)]);
        assert_eq!(reply.contended.data, 1, "{name}");
        assert_eq!(host.state().driven[0] & 1, 0, "{name}: it is let go");
        assert_eq!(host.state().pulled[0] & 1, 0, "{name}: without a pull-up");
        host.end();
    }
}

/// A strobe that nothing else names shows its opposite in set-up: where that is a write, the shape is
/// refused.
#[test]
fn what_a_strobe_shows_before_it_is_checked_too() {
    let Some(mut host) = crate::bench::greeted(16_000_000) else { return };
    let idle = Levels { mask: 13, level: 13 };
    let setup = Levels { mask: 4, level: 0 };
    let read = Phases { setup, strobe: Levels { mask: 1 | 16, level: 16 } };
    let write = Some(Phases { setup, strobe: Levels { mask: 16, level: 0 } });
    let shape = Shape { idle, read, write, ..shape(crate::bench::ROM) };
    let id = ShapeId(5);
    let refused = host.refused(&Request::Shape(ShapeRequest { id, shape }));
    assert_eq!((refused.code, refused.detail), (FaultCode::SHAPE_REFUSED, 1 | 1 << 8));
    // The same in two.
    let writer = Shape { read: Phases { setup, strobe: Levels { mask: 1, level: 0 } }, ..shape };
    host.ask(&Request::Rail(buswright::wire::RailRequest::OFF));
    crate::bench::hello(&mut host, 9);
    let reply = host.ask(&Request::Shape(ShapeRequest { id: ShapeId(0), shape: writer }));
    assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    let reader = Shape { write: None, ..shape };
    let asked = ShapeRequest { id: ShapeId(1), shape: reader };
    let refused = host.refused(&Request::Shape(asked));
    assert_eq!((refused.code, refused.detail & 0xFF), (FaultCode::SHAPE_REFUSED, 7));
    host.end();
}

/// Nor may a script without leave bring a line to where reads are writes.
#[test]
fn a_script_cannot_make_reads_to_writes() {
    let Some(mut host) = crate::bench::greeted(16_000_000) else { return };
    host.ask(&Request::Rail(buswright::wire::RailRequest::OFF));
    crate::bench::hello(&mut host, 9);
    let high = |mask| Levels { mask, level: mask };
    let low = |mask| Levels { mask, level: 0 };
    let shape = Shape {
        idle: high(0x2D),
        read: Phases { setup: low(4), strobe: low(1) },
        write: Some(Phases { setup: low(4), strobe: low(0x20) }),
        ..shape(crate::bench::ROM)
    };
    let id = ShapeId(0);
    let reply = host.ask(&Request::Shape(ShapeRequest { id, shape }));
    assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    host.ask(&Request::Rail(buswright::wire::RailRequest { shapes: 1, ..crate::bench::ON }));
    let script = Builder::new(id).line(Line::Protect, true).read_b();
    let crc = store(&mut host, 0, script);
    let mut request = run(crc, 1);
    request.id.session = 9;
    let Reply::Run(reply) = host.ask(&Request::Run(request)) else { panic!("no RUN") };
    assert_eq!(reply.status, 7, "not permitted: {reply:?}");
    assert_eq!(host.state().driven[2] & 0x20, 0x20);
    host.end();
}
