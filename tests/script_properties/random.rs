//! Random operations and scripts, most of them good ones.

use buswright::bus::script::{
    Expect, Line, Op, Place, Source, Sweep, SweepOp, Times, Wait, WaitKind,
};
use buswright::bus::{ShapeId, Width, WordAddress};
use proptest::prelude::*;

fn word() -> impl Strategy<Value = u32> {
    prop_oneof![Just(0), Just(u32::MAX), Just(0xFFFF), 0..0x100_u32, any::<u32>()]
}

fn address() -> impl Strategy<Value = WordAddress> {
    word().prop_map(WordAddress)
}

fn width() -> impl Strategy<Value = Width> {
    prop_oneof![Just(Width::W8), Just(Width::W16), Just(Width::W32)]
}

fn place() -> impl Strategy<Value = Place> {
    prop_oneof![address().prop_map(Place::At), Just(Place::A), Just(Place::B)]
}

fn wait() -> impl Strategy<Value = Wait> {
    let kind = prop_oneof![Just(WaitKind::Data), Just(WaitKind::Status), Just(WaitKind::Toggle)];
    let expect = prop_oneof![
        Just(Expect::Payload),
        Just(Expect::Ones),
        (word(), word()).prop_map(|(value, mask)| Expect::Value { value, mask }),
    ];
    (width(), kind, any::<bool>(), expect, word(), 0..2_u32).prop_map(
        |(lane, kind, at_b, expect, fail, timeout_ms)| Wait {
            lane,
            kind,
            at_b,
            expect,
            fail,
            timeout_ms,
        },
    )
}

fn sweep() -> impl Strategy<Value = Sweep> {
    let op = (any::<bool>(), any::<bool>())
        .prop_map(|(write, one)| if write { SweepOp::Write(one) } else { SweepOp::Read(one) });
    let ops = prop::collection::vec(op, 1..=8);
    (ops, any::<bool>(), any::<bool>(), word(), 0..20_u16).prop_map(
        |(ops, down, precharge, background, record)| {
            let mut sweep = Sweep::new(&ops).unwrap();
            sweep.down = down;
            sweep.precharge = precharge;
            sweep.background = background;
            sweep.record = record;
            sweep
        },
    )
}

fn line() -> impl Strategy<Value = Op> {
    let line = prop_oneof![Just(Line::Reset), Just(Line::Protect), Just(Line::Mark)];
    (line, any::<bool>()).prop_map(|(line, active)| Op::Line { line, active })
}

/// Operations that may stand after `finally`.
fn straight() -> impl Strategy<Value = Op> {
    prop_oneof![
        4 => (word(), place()).prop_map(|(value, at)| Op::Write { value, at }),
        1 => Just(Op::SetA(Source::B)),
        1 => address().prop_map(|address| Op::SetA(Source::At(address))),
        1 => any::<i16>().prop_map(Op::Step),
        1 => (0..30_u32).prop_map(|us| Op::Delay { us }),
        1 => line(),
        1 => Just(Op::Shape(ShapeId(0))),
        1 => Just(Op::Lanes(u32::MAX)),
        1 => width().prop_map(|lane| Op::WriteCount { lane }),
    ]
}

/// Operations that begin and end no block.
fn plain() -> impl Strategy<Value = Op> {
    prop_oneof![
        6 => straight(),
        2 => place().prop_map(Op::Read),
        2 => Just(Op::Emit),
        3 => Just(Op::WritePayload),
        1 => Just(Op::SetA(Source::Payload)),
        1 => Just(Op::Next),
        2 => wait().prop_map(Op::Wait),
        1 => (0..2_u32).prop_map(|timeout_ms| Op::Ready { timeout_ms }),
        1 => sweep().prop_map(Op::Sweep),
        1 => word().prop_map(Op::Rest),
        1 => word().prop_map(Op::Lanes),
    ]
}

/// Any operation at all, with any operands.
pub fn any_op() -> impl Strategy<Value = Op> {
    let times = prop_oneof![any::<u32>().prop_map(Times::Fixed), Just(Times::N)];
    prop_oneof![
        8 => plain(),
        1 => any::<u8>().prop_map(|slot| Op::Shape(ShapeId(slot))),
        1 => Just(Op::Previous),
        1 => any::<u32>().prop_map(|us| Op::Delay { us }),
        1 => any::<u32>().prop_map(|timeout_ms| Op::Ready { timeout_ms }),
        1 => (any::<u8>(), word()).prop_map(|(count, value)| Op::SkipIfPayload { count, value }),
        1 => (any::<u8>(), word(), word())
            .prop_map(|(count, mask, value)| Op::SkipIfD { count, mask, value }),
        1 => times.prop_map(Op::Loop),
        1 => any::<u32>().prop_map(|max_ms| Op::Critical { max_ms }),
        1 => prop_oneof![
            Just(Op::EndLoop), Just(Op::EndCritical), Just(Op::Atomic), Just(Op::EndAtomic),
            Just(Op::Finally),
        ],
    ]
}

/// A row of balanced blocks; deeper than three is left to [`any_op`].
fn row() -> impl Strategy<Value = Vec<Op>> {
    let leaf = prop::collection::vec(plain(), 1..6);
    leaf.prop_recursive(3, 40, 3, |inner| {
        let rows = prop::collection::vec(inner, 1..3).prop_map(|rows| rows.concat());
        let times = prop_oneof![(1..4_u32).prop_map(Times::Fixed), Just(Times::N)];
        let skips = prop_oneof![
            word().prop_map(|value| Op::SkipIfPayload { count: 0, value }),
            (word(), word()).prop_map(|(mask, value)| Op::SkipIfD { count: 0, mask, value }),
        ];
        let around = |begin: Op, mut body: Vec<Op>, end: Op| {
            body.insert(0, begin);
            body.push(end);
            body
        };
        prop_oneof![
            3 => (times, rows.clone())
                .prop_map(move |(times, body)| around(Op::Loop(times), body, Op::EndLoop)),
            2 => (0..2_u32, rows.clone()).prop_map(move |(max_ms, body)| {
                around(Op::Critical { max_ms }, body, Op::EndCritical)
            }),
            2 => rows.clone().prop_map(move |body| around(Op::Atomic, body, Op::EndAtomic)),
            2 => (skips, rows.clone()).prop_map(|(skip, mut body)| {
                // Taken words are given back, so that the skip may be good.
                let takes = body.iter().filter(|op| op.takes() > 0).count();
                body.extend(std::iter::repeat_n(Op::Previous, takes));
                let count = u8::try_from(body.len()).unwrap_or(u8::MAX);
                body.insert(0, match skip {
                    Op::SkipIfPayload { value, .. } => Op::SkipIfPayload { count, value },
                    Op::SkipIfD { mask, value, .. } => Op::SkipIfD { count, mask, value },
                    other => other,
                });
                body.extend(std::iter::repeat_n(Op::Next, takes));
                body
            }),
            2 => rows,
        ]
    })
}

/// A script that has a good chance to be accepted.
pub fn likely() -> impl Strategy<Value = Vec<Op>> {
    let finally = prop::option::of(prop::collection::vec(straight(), 1..4));
    (row(), finally).prop_map(|(row, finally)| {
        let mut ops = vec![Op::Shape(ShapeId(0)), Op::Rest(u32::MAX)];
        ops.extend(row);
        if let Some(finally) = finally {
            ops.push(Op::Finally);
            ops.extend(finally);
        }
        ops
    })
}
