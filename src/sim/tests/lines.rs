//! LINES and WALK.

use super::*;
use crate::sim::{Line, LineFault, Trouble};
use crate::wire::{
    BoardLine, LineAction, LineLevels, LinesReply, LinesRequest, PermitRequest, WalkReply,
    WalkRequest,
};
use BoardLine::{Address, Control, Data};
use LineAction::{High, Input, Low, PullUp};

fn request(hold_ms: u16, set: &[(BoardLine, LineAction)]) -> Request {
    Request::Lines(LinesRequest { hold_ms, set: set.to_vec() })
}

fn lines(host: &mut Host, hold_ms: u16, set: &[(BoardLine, LineAction)]) -> LinesReply {
    match host.ask(&request(hold_ms, set)) {
        Reply::Lines(reply) => reply,
        other => panic!("{other:?}"),
    }
}

fn refused(host: &mut Host, set: &[(BoardLine, LineAction)]) -> u32 {
    let (code, detail) = host.fault(&request(0, set));
    assert_eq!(code, FaultCode::LINE_REFUSED, "{set:?}");
    detail
}

fn walk_of(high: bool, turns: u16, lines: &[BoardLine]) -> Request {
    Request::Walk(WalkRequest { nonce: 0x77, high, turns, lines: lines.to_vec() })
}

fn walk(host: &mut Host, high: bool, lines: &[BoardLine]) -> WalkReply {
    match host.ask(&walk_of(high, 1, lines)) {
        Reply::Walk(reply) => {
            assert_eq!((reply.nonce, reply.rows.len()), (0x77, lines.len()));
            reply
        }
        other => panic!("{other:?}"),
    }
}

fn faulty(faults: &[(Line, Trouble)]) -> Host {
    let mut host = Host::edited("TG-7", |d| {
        let fault =
            |(line, trouble): &(Line, Trouble)| LineFault { line: *line, trouble: trouble.clone() };
        d.line_faults = faults.iter().map(fault).collect();
    });
    host.make_ready();
    host
}

fn may_move_lines(host: &mut Host) {
    let permit = PermitRequest {
        shape: ShapeId(1),
        lines: true,
        seconds: 60,
        start: WordAddress(0),
        words: 0,
        lanes: 0,
        address_mask: 0,
        addresses: Vec::new(),
    };
    assert!(matches!(host.ask(&Request::Permit(permit)), Reply::Permit(_)));
}

#[test]
fn lines_read_what_they_are_driven_or_pulled_to() {
    let mut host = Host::ready();
    let reply = lines(&mut host, 0, &[(Data(3), High), (Data(4), Low), (Address(5), High)]);
    assert_eq!(reply.levels.data & 0x18, 0x08);
    assert_eq!(reply.levels.address, 0x20);
    assert_eq!(reply.levels.control & 15, 15, "idle is held");
    assert_eq!(reply.contended, LineLevels::default());
    let reply = lines(&mut host, 0, &[(Data(7), PullUp)]);
    assert_eq!(reply.levels.data & 0x80, 0x80);
    // Held lines stay from one request to the next until their time is over.
    lines(&mut host, 500, &[(Address(1), High)]);
    assert_eq!(lines(&mut host, 500, &[(Address(2), High)]).levels.address, 6);
    assert_eq!(lines(&mut host, 500, &[(Address(1), Input)]).levels.address, 4);
    host.run_ms(600);
    assert_eq!(lines(&mut host, 0, &[]).levels.address, 0);
    // Or until something else moves the bus.
    lines(&mut host, 5_000, &[(Address(1), High)]);
    host.read(echo(0, 0, 1));
    assert_eq!(lines(&mut host, 5_000, &[]).levels.address, 0);
    lines(&mut host, 5_000, &[(Address(1), High)]);
    host.ask(&Request::Stop);
    assert_eq!(lines(&mut host, 0, &[]).levels.address, 0);
}

#[test]
fn an_output_is_read_and_not_fought() {
    let mut host = Host::ready();
    let word = u32::from_le_bytes(host.read(echo(0, 2, 1)).try_into().unwrap());
    let select = [(Control(0), Low), (Control(2), Low), (Address(1), High)];
    assert_eq!(lines(&mut host, 0, &select).levels.data, word);
    let fight: Vec<_> = select.into_iter().chain([(Data(9), High)]).collect();
    assert_eq!(refused(&mut host, &fight), 9 << 8);
}

#[test]
fn without_the_rail_nothing_is_fed_and_nothing_selected() {
    let mut host = Host::new();
    host.hello(7);
    host.shape(0, store_shape());
    assert_eq!(refused(&mut host, &[(Data(1), High)]), 0x100);
    assert_eq!(refused(&mut host, &[(Address(2), PullUp)]), 0x201);
    assert_eq!(refused(&mut host, &[(Control(3), Low)]), 0x302);
    assert_eq!(refused(&mut host, &[(Address(24), Input)]), 0x1801);
    assert_eq!(refused(&mut host, &[(Control(4), Input)]), 0x402);
    lines(&mut host, 0, &[(Data(1), Low), (Address(2), Low), (Control(3), Input)]);
    assert_eq!(host.fault(&walk_of(true, 1, &[Data(0)])), (FaultCode::LINE_REFUSED, 0));
    walk(&mut host, false, &[Data(0), Address(1)]);
}

#[test]
fn control_lines_may_not_write_without_leave() {
    let mut host = Host::ready();
    let before = host.contents("records");
    let write = [(Control(1), Low), (Control(3), Low)];
    assert_eq!(refused(&mut host, &write), 0x102, "the board names it a write strobe");
    assert_eq!(host.fault(&walk_of(false, 1, &[Control(1)])).0, FaultCode::LINE_REFUSED);
    assert_eq!(host.contents("records"), before);
    may_move_lines(&mut host);
    let data: Vec<_> = (0..32).map(|n| (Data(n), Low)).chain(write).collect();
    lines(&mut host, 0, &data);
    assert_eq!(host.contents("records")[..4], [0; 4], "the first word was written");
    // Where the board names no write strobe the shapes do.
    let mut host = Host::edited("TG-7", |d| {
        d.adapter.control.iter_mut().for_each(|line| line.write_strobe = false);
    });
    host.make_ready();
    lines(&mut host, 0, &[(Control(1), Low)]);
    assert_eq!(refused(&mut host, &write), 0x102);
    // A line that no shape names.
    let mut host = Host::new();
    host.hello(7);
    host.shape(0, store_shape());
    host.rail_on(1);
    assert_eq!(refused(&mut host, &[(Control(3), High)]), 0x302);
}

#[test]
fn a_driven_line_that_reads_opposite_is_let_go_and_flagged() {
    let mut host =
        faulty(&[(Line::Data(4), Trouble::StuckHigh), (Line::Address(2), Trouble::StuckLow)]);
    let set = [(Data(4), Low), (Data(5), Low), (Address(2), High), (Address(3), High)];
    let reply = lines(&mut host, 1_000, &set);
    assert_eq!(reply.contended, LineLevels { data: 0x10, address: 4, control: 0 });
    assert_eq!(reply.levels.address, 8);
    let reply = lines(&mut host, 0, &[]);
    assert_eq!(reply.contended, LineLevels::default(), "it is driven no more");
    let rows = walk(&mut host, true, &[Address(2), Address(3)]).rows;
    assert_eq!((rows[0].let_go, rows[1].let_go), (true, false));
}

#[test]
fn a_walk_shows_open_stuck_and_joined_lines() {
    let all: Vec<_> = (0..32).map(Data).chain((0..24).map(Address)).collect();
    for high in [true, false] {
        // On a sound board each line goes alone.
        let rows = walk(&mut Host::ready(), high, &all).rows;
        for (n, row) in rows.iter().enumerate() {
            let one = |from: usize| 1_u32.checked_shl(n.wrapping_sub(from) as u32).unwrap_or(0);
            let levels = if high { row.levels.data } else { !row.levels.data };
            assert_eq!((levels, row.let_go), (one(0), false), "{n} {high}");
            let address = if high { row.levels.address } else { !row.levels.address & 0xFF_FFFF };
            assert_eq!(address, one(32), "{n} {high}");
        }
        let mut host = faulty(&[
            (Line::Data(1), Trouble::ShortedTo(Line::Data(6))),
            (Line::Data(2), Trouble::StuckLow),
            (Line::Data(3), Trouble::Open { pull: Some(true) }),
            (Line::Address(4), Trouble::ShortedTo(Line::Address(5))),
        ]);
        let rows = walk(&mut host, high, &all).rows;
        let data = |n: usize| if high { rows[n].levels.data } else { !rows[n].levels.data };
        let still = if high { 1 << 3 } else { 1 << 2 };
        assert_eq!(data(0), 1 | still, "{high}");
        assert_eq!(data(1) & !still, 0x42, "{high}");
        assert_eq!(data(6) & !still, 0x42, "{high}");
        assert_eq!(rows[2].let_go, high);
        let address = rows[36].levels.address;
        let address = if high { address } else { !address & 0xFF_FFFF };
        assert_eq!(address, 0x30, "{high}");
    }
}

#[test]
fn a_long_walk_says_busy_and_is_ended_by_stop() {
    let mut host = Host::ready();
    let all: Vec<_> = (0..32).map(Data).collect();
    let tag = host.send(&walk_of(true, u16::MAX, &all));
    host.run_ms(1_000);
    let busy = host.replies.iter().filter(|(_, t, _)| *t == tag).count();
    assert_eq!(busy, 1);
    let reply = host.ask(&Request::Stop);
    assert!(matches!(reply, Reply::Stop(stop) if stop.within_ms == 1), "{reply:?}");
    assert_eq!(host.fault_of(tag), (FaultCode::HALTED, 0));
    assert_eq!(host.fault(&walk_of(true, 0, &all)), (FaultCode::MALFORMED, 5));
    let many = vec![Data(0); 96];
    assert_eq!(host.fault(&walk_of(true, 1, &many)), (FaultCode::TOO_LONG, 0));
    assert!(matches!(host.ask(&walk_of(true, 3, &all[..2])), Reply::Walk(_)));
}

#[test]
fn walks_and_lines_end_with_the_rail_and_the_session() {
    let mut host = Host::ready();
    let tag = host.send(&walk_of(true, u16::MAX, &[Data(0); 8]));
    host.run_ms(5_200);
    assert_eq!(host.fault_of(tag), (FaultCode::HALTED, 0));
    let mut host = Host::ready();
    let tag = host.send(&walk_of(true, u16::MAX, &[Data(0)]));
    host.run_ms(100);
    host.hello(8);
    assert_eq!(host.fault_of(tag), (FaultCode::SESSION_ENDED, 0));
}
