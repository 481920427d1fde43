//! Any of the requests that move lines or make writes.

use super::*;
use crate::bus::crc32;
use crate::bus::script::{Builder, Sweep, SweepOp};
use crate::wire::{
    BoardLine, HoldRequest, LineAction, LinesRequest, Mark, PermitRequest, RepeatRequest, RunId,
    RunRequest, ScriptRequest, WalkRequest,
};
use proptest::prelude::*;

/// Scripts that are stored and run: short, long, endless for all practical purposes, critical.
fn scripts() -> [Vec<u8>; 5] {
    let new = || Builder::new(ShapeId(1));
    let march = Sweep::new(&[SweepOp::Read(false), SweepOp::Write(true)]);
    [
        new().repeat_n(|b| b.write_payload().step(1)),
        new().repeat(5_000, |b| b.read_a().step(1)).emit().finally(|b| b.write_b(9)),
        new().repeat_n(|b| b.repeat(60_000, |b| b.step(3))),
        new().critical(2_000, |b| b.delay(900_000).write_a(1)).finally(|b| b.write_b(2)),
        march.map_or(new(), |march| new().sweep(march)),
    ]
    .map(|builder| builder.script().unwrap().0)
}

fn any_place() -> impl Strategy<Value = (RunId, u32)> {
    (5_u32..8, 0_u16..4, 0_u32..6, 0_u32..2).prop_map(|(session, chain, run, back)| {
        (RunId { session, chain, run }, run.saturating_sub(1 + back))
    })
}

fn any_run() -> impl Strategy<Value = Request> {
    let payload = proptest::collection::vec(any::<u32>(), 0..4);
    (any_place(), 0_u8..9, 0_usize..5, any::<u16>(), 0_u32..5, payload).prop_map(
        |((id, after), slot, which, at, n, payload)| {
            Request::Run(RunRequest {
                id,
                after,
                slot,
                script_crc: crc32(&scripts()[which]),
                a: WordAddress(u32::from(at)),
                b: WordAddress(0x20),
                n: if n == 4 { u32::MAX } else { n },
                lanes: u32::MAX,
                width: Width::W32,
                payload,
            })
        },
    )
}

fn any_line() -> impl Strategy<Value = BoardLine> {
    (0_u8..3, 0_u8..32).prop_map(|(group, n)| match group {
        0 => BoardLine::Data(n),
        1 => BoardLine::Address(n),
        _ => BoardLine::Control(n % 6),
    })
}

fn any_action() -> impl Strategy<Value = LineAction> {
    prop_oneof![
        Just(LineAction::Input),
        Just(LineAction::PullUp),
        Just(LineAction::Low),
        Just(LineAction::High),
    ]
}

/// A permit for shape 1, or for any.
pub(super) fn any_permit() -> impl Strategy<Value = Request> {
    (0_u8..3, any::<bool>(), 0_u16..20, any::<u16>(), 0_u32..0x2_0000).prop_map(
        |(shape, lines, seconds, start, words)| {
            Request::Permit(PermitRequest {
                shape: ShapeId(shape),
                lines,
                seconds,
                start: WordAddress(u32::from(start)),
                words,
                lanes: u32::MAX,
                address_mask: 0xFFF,
                addresses: vec![WordAddress(0x20)],
            })
        },
    )
}

/// Anything but a permit.
pub(super) fn any_bus_request() -> impl Strategy<Value = Request> {
    let script = (0_u8..9, 0_usize..5).prop_map(|(slot, which)| {
        Request::Script(ScriptRequest { slot, bytes: scripts()[which].clone() })
    });
    let noise = proptest::collection::vec(any::<u8>(), 0..40)
        .prop_map(|bytes| Request::Script(ScriptRequest { slot: 0, bytes }));
    let hold = (any_place(), 0_u8..3, any::<bool>(), any::<u16>()).prop_map(
        |((id, after), shape, write, at)| {
            let nothing = RunId { session: 0, chain: 0, run: 0 };
            Request::Hold(HoldRequest {
                id: if write { id } else { nothing },
                after: if write { after } else { 0 },
                shape: ShapeId(shape),
                write,
                address: WordAddress(u32::from(at)),
                value: u32::from(write) * 5,
            })
        },
    );
    let repeat = (any_place(), 0_u8..3, any::<bool>(), any::<u16>(), 0_u32..9).prop_map(
        |((id, after), shape, write, at, n)| {
            Request::Repeat(RepeatRequest {
                id,
                after,
                shape: ShapeId(shape),
                write,
                address: (WordAddress(u32::from(at)), n),
                value: (5, u32::MAX),
                gap_us: n * 37_000,
                count: n,
                mark: Mark::None,
            })
        },
    );
    let lines = proptest::collection::vec((any_line(), any_action()), 0..5);
    let lines = (0_u16..3_000, lines)
        .prop_map(|(hold_ms, set)| Request::Lines(LinesRequest { hold_ms, set }));
    let walked = proptest::collection::vec(any_line(), 0..100);
    let walk = (any::<bool>(), any::<u16>(), walked).prop_map(|(high, turns, lines)| {
        Request::Walk(WalkRequest { nonce: 4, high, turns: turns % 900, lines })
    });
    prop_oneof![3 => script, 1 => noise, 8 => any_run(), 1 => hold, 2 => repeat, 2 => lines, 1 => walk]
}
