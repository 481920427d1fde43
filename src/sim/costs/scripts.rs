//! Scripts: what an operation costs, and each of its cycles. Most are interpreted one by one. The loops
//! that programming consists of, which begin and end their cycles in a critical or atomic stretch, are
//! translated when they begin, and then take a small part of that. So do the operations that an atomic
//! stretch makes at one go.

use super::reads::Loops;
use crate::bus::script::{Op, Place, Placed};
use crate::bus::{Shape, ShapeId, Width};

/// To store a script, beside the check of it.
pub(super) const STORE: u64 = 14_500;
/// A byte of a script that is checked, beside its operation.
const CHECKED: u64 = 100;
/// The longest operation, and a cycle on top of it, for what the checker reckons with.
pub(super) const LONGEST: u64 = 1_400;
pub(super) const CYCLE: u64 = 1_000;
/// The same of the operations that are made quickly inside `atomic`.
pub(super) const ATOMIC_OP: u64 = 168;
pub(super) const ATOMIC_CYCLE: u64 = 520;

/// What an operation costs, and each of its cycles, on top of the times of the shape.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(in crate::sim) struct Price {
    /// Of itself.
    pub(in crate::sim) op: u64,
    /// Of a read.
    pub(in crate::sim) read: u64,
    /// More of it with a charge.
    pub(in crate::sim) charge: u64,
    /// Of a write.
    pub(in crate::sim) write: u64,
}

impl Price {
    /// Nothing but cycles, each of which costs the same.
    pub(super) fn each(cycle: u64) -> Self {
        Self { read: cycle, write: cycle, ..Self::default() }
    }

    fn op(op: u64) -> Self {
        Self { op, ..Self::default() }
    }
}

/// How an operation is made.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    /// Interpreted.
    Single,
    /// In a translated loop.
    Row,
    /// In one of those that begin by passing over blank words: it has steps of its own.
    Words,
}

/// Where an operation stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Within {
    Nothing,
    /// First in an atomic stretch: a loop there may be translated.
    Start,
    /// Later in one.
    Atomic,
}

impl Within {
    /// Where the operation behind this one stands.
    fn after(self, op: &Op) -> Self {
        match (op, self) {
            (Op::Atomic, _) => Self::Start,
            (Op::EndAtomic, _) | (_, Self::Nothing) => Self::Nothing,
            _ => Self::Atomic,
        }
    }
}

/// Prices of the operations of a script, by the byte where they stand.
#[derive(Clone, Debug, Default)]
pub(in crate::sim) struct Prices(Vec<(u32, Price)>);

impl Prices {
    /// Of these; `swept` has the prices of a sweep by a shape, if there is one.
    pub(in crate::sim) fn of(ops: &[Placed], swept: impl Fn(ShapeId) -> Option<Price>) -> Self {
        let mut prices = Vec::with_capacity(ops.len());
        let mut sweep = Price::default();
        let mut way = (Way::Single, 0);
        let mut within = Within::Nothing;
        for (n, Placed { at, op }) in ops.iter().enumerate() {
            if let Op::Shape(slot) = op {
                sweep = swept(*slot).unwrap_or_default();
            }
            let begins = way.1 == 0 && matches!(op, Op::Loop(_)) && within != Within::Atomic;
            if begins {
                let held = u32::from(within == Within::Start);
                way = translated(&ops[n + 1..], held).map_or(way, |way| (way, 0));
            }
            let depth = way.1;
            match op {
                Op::Loop(_) if way.0 != Way::Single => way.1 += 1,
                Op::EndLoop if way.0 != Way::Single => way.1 -= 1,
                _ => {}
            }
            let price = match way.0 {
                Way::Single if within != Within::Nothing && !begins => {
                    in_atomic(op).unwrap_or_else(|| single(op, sweep))
                }
                Way::Single if matches!(op, Op::Atomic) => Price::op(520),
                Way::Single => single(op, sweep),
                _ if begins => Price::op(5_000),
                Way::Row => row(op, depth),
                Way::Words => words(op),
            };
            prices.push((*at, price));
            within = within.after(op);
            if way.1 == 0 && matches!(op, Op::EndLoop) {
                way.0 = Way::Single;
            }
        }
        Self(prices)
    }

    /// Of the operation at this byte.
    pub(in crate::sim) fn at(&self, at: u32) -> Price {
        let found = self.0.binary_search_by_key(&at, |(at, _)| *at);
        found.map_or_else(|_| Price::default(), |n| self.0[n].1)
    }
}

impl super::Costs {
    /// Of a sweep by this shape.
    pub(in crate::sim) fn swept(self, shape: &Shape) -> Price {
        let op = 3_500;
        match self.loops(shape) {
            Loops::Wide => Price { op, read: 50, charge: 16, write: 57 },
            Loops::Narrow => Price { op, read: 66, charge: 20, write: 76 },
            Loops::None => Price { op, read: 1_320, charge: 200, write: 1_940 },
        }
    }

    /// Cycles of the check of a script.
    pub(in crate::sim) fn checked(ops: &[Placed], bytes: usize) -> u64 {
        let of = |placed: &Placed| match placed.op {
            Op::Write { .. } | Op::WritePayload | Op::WriteCount { .. } | Op::Read(_) => 3_330,
            Op::Shape(_) | Op::SetA(_) | Op::Step(_) | Op::Emit | Op::Previous | Op::Next => 2_750,
            _ => 3_650,
        };
        let mut within = Within::Nothing;
        let each = ops.iter().map(|placed| {
            let quick = within != Within::Nothing && placed.op.is_quick();
            within = within.after(&placed.op);
            if quick { 1_500 } else { of(placed) }
        });
        each.sum::<u64>() + CHECKED * bytes as u64
    }
}

/// How the loop is made whose body begins here, in so many stretches; `None` if it is interpreted.
fn translated(body: &[Placed], mut held: u32) -> Option<Way> {
    let (mut depth, mut cycles) = (0_u32, false);
    for Placed { op, .. } in body {
        match op {
            Op::EndLoop if depth == 0 => break,
            Op::EndLoop => depth -= 1,
            Op::Loop(_) => depth += 1,
            Op::Critical { .. } | Op::Atomic => held += 1,
            Op::EndCritical | Op::EndAtomic => held = held.saturating_sub(1),
            Op::Write { .. } | Op::WritePayload | Op::Wait(_) if held > 0 => cycles = true,
            Op::SkipIfPayload { .. } | Op::Previous | Op::Next | Op::Step(_) => {}
            _ => return None,
        }
        if depth > 1 {
            return None;
        }
    }
    let blank = |placed: &Placed| matches!(placed.op, Op::SkipIfPayload { value, .. } if value == Width::W32.ones());
    let way = if body.first().is_some_and(blank) { Way::Words } else { Way::Row };
    cycles.then_some(way)
}

fn single(op: &Op, sweep: Price) -> Price {
    let cycle = Price { op: 0, read: 1_270, charge: 200, write: 2_090 };
    match op {
        Op::Write { .. } | Op::WriteCount { .. } | Op::Read(_) => cycle,
        Op::WritePayload => Price { op: 200, ..cycle },
        Op::Wait(_) => Price { op: 1_450, ..cycle },
        Op::Emit => Price::op(1_370),
        Op::Delay { .. } | Op::Ready { .. } => Price::op(1_180),
        Op::SkipIfPayload { .. } | Op::SkipIfD { .. } => Price::op(1_020),
        Op::Critical { .. } | Op::EndCritical => Price::op(590),
        Op::EndLoop => Price::op(370),
        Op::Sweep(_) => sweep,
        _ => Price::op(860),
    }
}

/// Of an operation that an atomic stretch makes at one go.
fn in_atomic(op: &Op) -> Option<Price> {
    let cycle = Price { op: 0, read: 265, charge: 0, write: 490 };
    Some(match op {
        Op::Write { .. } | Op::WritePayload | Op::Read(_) => cycle,
        Op::SetA(_) => Price::op(80),
        Op::Step(_) => Price::op(104),
        // With what the word costs in the reply.
        Op::Emit => Price::op(300),
        Op::Previous | Op::Next => Price::op(72),
        Op::SkipIfPayload { .. } | Op::SkipIfD { .. } => Price::op(175),
        Op::Loop(_) => Price::op(165),
        Op::EndLoop => Price::op(115),
        Op::Delay { .. } => Price::op(250),
        _ => return None,
    })
}

fn row(op: &Op, depth: u32) -> Price {
    match op {
        Op::Wait(_) => Price { op: 130, ..Price::each(20) },
        Op::EndLoop if depth == 1 => Price::op(44),
        Op::EndLoop => Price::op(28),
        Op::Write { .. } | Op::WritePayload => Price::each(95),
        _ => Price::default(),
    }
}

fn words(op: &Op) -> Price {
    match op {
        Op::Write { at: Place::At(_), .. } => Price { op: 56, ..Price::default() },
        Op::Write { .. } | Op::WritePayload | Op::Wait(_) => Price { op: 4, ..Price::each(9) },
        Op::SkipIfPayload { .. } => Price::op(79),
        _ => Price::default(),
    }
}
