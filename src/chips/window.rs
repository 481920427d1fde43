//! How far apart the writes of a script may come, for parts that wait for the next one only so long.
//!
//! A page-write part whose software protection is off takes a write that nothing follows in time for
//! a page of one byte: it programs that page, and bytes that were not loaded become FF. So no command
//! goes to where such a part may be unless the adapter promises to be quick enough.

use super::{Asking, Catalogue, Family, Writing};
use crate::bus::script::{BuildError, Limits, Op, Placed, Script, Times};
use crate::bus::{Nanos, ShapeTimes, Width};
use std::fmt;
use thiserror::Error;

/// The longest time between two bytes of a page or command (byte-load window of `AT29C` parts: 150 us,
/// from memory).
pub const LOAD_WINDOW: Nanos = Nanos::from_micros(150);
/// What of it is used. The rest is for an adapter's clock (ceramic resonators are 0.5 % off, common
/// practice, no source), and for a byte or two on the line, whose interrupts are not in the times that
/// adapters promise. There are no more: one run asks, and a sector of such a part is one page and one
/// run, so that the host waits for the reply and sends nothing meanwhile.
pub const LONGEST_GAP: Nanos = Nanos::from_micros(140);
/// The largest 16-bit page-write part, in bytes: `AT29C1024`, from memory; the part list has none.
const LARGEST_X16: u64 = 128 << 10;

/// How long operations inside `atomic` last at most, as the adapter promises.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Window {
    operation: Nanos,
    /// On top of it a cycle, with the times of its shape.
    cycle: Nanos,
    promised: bool,
}

/// Why page-write parts are not written to by an adapter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error(
    "a page-write part takes the writes of a command only if they come at most {} us apart (from \
     memory, AT29C datasheets; {} us are allowed here), else it may program a page that nobody meant, \
     and {gap}",
    LOAD_WINDOW.0 / 1_000,
    LONGEST_GAP.0 / 1_000
)]
pub struct TooSlow {
    /// What the adapter promises.
    pub gap: Gap,
}

/// The longest time between two writes of one `atomic` stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gap {
    /// It is at most this.
    AtMost(Nanos),
    /// A stretch lasts longer than any may.
    Stretch(Nanos),
    /// Nothing tells: the adapter promises no times, or a write stands outside `atomic`.
    NotPromised,
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AtMost(gap) => {
                write!(f, "this adapter promises {} us", gap.0.div_ceil(1_000))
            }
            Self::Stretch(time) => write!(
                f,
                "all of them may take this adapter {} ms, {} are the most that any takes in one go",
                time.0.div_ceil(1_000_000),
                Limits::ATOMIC.as_millis()
            ),
            Self::NotPromised => f.write_str("this adapter promises no time"),
        }
    }
}

impl Window {
    /// With the times that an adapter promises inside `atomic`, zero for none, and the longest times
    /// of the shape that it makes.
    pub fn new(operation: Nanos, cycle: Nanos, shape: &ShapeTimes) -> Self {
        let promised = operation != Nanos::ZERO && cycle != Nanos::ZERO;
        // Reads of a script are not precharged; should they be, this covers it.
        let own = shape.cycle() + Nanos(u64::from(shape.release));
        Self { operation, cycle: cycle + own, promised }
    }

    /// The longest gap between two writes of one `atomic` stretch of `script`.
    pub fn longest_gap(&self, script: &Script) -> Gap {
        let Ok(ops) = script.decode() else { return Gap::NotPromised };
        if !self.promised {
            return Gap::NotPromised;
        }
        let (mut gap, mut at) = (Nanos::ZERO, 0);
        while let Some(placed) = ops.get(at) {
            if placed.op == Op::Atomic {
                let body = block(&ops[at + 1..]);
                let row = self.row(body);
                gap = gap.max(row.between.unwrap_or_default());
                // With its begin and its end.
                let whole = row.whole + self.operation * 2;
                if whole > Limits::ATOMIC && whole < FOREVER {
                    return Gap::Stretch(whole);
                }
                at += body.len() + 1;
            } else if writes(&placed.op) {
                return Gap::NotPromised;
            }
            at += 1;
        }
        if gap == FOREVER { Gap::NotPromised } else { Gap::AtMost(gap) }
    }

    /// Refuses unless every one of `scripts` is quick enough for a page-write part.
    pub fn holds(&self, scripts: &[Script]) -> Result<(), TooSlow> {
        let slow = |gap: &Gap| !matches!(gap, Gap::AtMost(gap) if *gap <= LONGEST_GAP);
        match scripts.iter().map(|script| self.longest_gap(script)).find(slow) {
            Some(gap) => Err(TooSlow { gap }),
            None => Ok(()),
        }
    }

    /// A row of operations, from the last to the first: a skip may lead to any later one.
    fn row(&self, ops: &[Placed]) -> Row {
        let mut rows = vec![Row::NOTHING; ops.len() + 1];
        let mut starts = Vec::new();
        let mut at = 0;
        while let Some(placed) = ops.get(at) {
            starts.push(at);
            at += match placed.op {
                Op::Loop(_) => block(&ops[at + 1..]).len() + 2,
                _ => 1,
            };
        }
        for at in starts.into_iter().rev() {
            let op = &ops[at].op;
            let own = self.single(op);
            rows[at] = match *op {
                Op::Loop(times) => {
                    let body = block(&ops[at + 1..]);
                    let turn = self.row(body).then(self.single(&Op::EndLoop));
                    let next = rows.get(at + body.len() + 2).copied().unwrap_or(Row::NOTHING);
                    own.then(turn.turns(times)).then(next)
                }
                Op::SkipIfD { count, .. } | Op::SkipIfPayload { count, .. } => {
                    let behind = rows.get(at + 1 + usize::from(count)).copied();
                    own.then(rows[at + 1].or(behind.unwrap_or(Row::NOTHING)))
                }
                _ => own.then(rows[at + 1]),
            };
        }
        rows[0]
    }

    /// One operation. Those of which no adapter promises anything last for ever.
    fn single(&self, op: &Op) -> Row {
        match op {
            _ if !op.is_quick() && writes(op) => Row::write(FOREVER),
            _ if !op.is_quick() => Row::time(FOREVER),
            _ if writes(op) => Row::write(self.operation + self.cycle),
            Op::Read(_) => Row::time(self.operation + self.cycle),
            _ => Row::time(self.operation),
        }
    }
}

/// Everything before the end of a block that was begun before `ops`.
fn block(ops: &[Placed]) -> &[Placed] {
    let mut depth = 0_u32;
    for (at, placed) in ops.iter().enumerate() {
        match placed.op {
            Op::Loop(_) | Op::Critical { .. } | Op::Atomic => depth += 1,
            Op::EndLoop | Op::EndCritical | Op::EndAtomic if depth == 0 => return &ops[..at],
            Op::EndLoop | Op::EndCritical | Op::EndAtomic => depth -= 1,
            _ => {}
        }
    }
    ops
}

fn writes(op: &Op) -> bool {
    match op {
        Op::Write { .. } | Op::WritePayload | Op::WriteCount { .. } => true,
        Op::Sweep(sweep) => sweep.writes(),
        _ => false,
    }
}

const FOREVER: Nanos = Nanos(u64::MAX);

/// Times of a row of operations at the longest; `None` where it has no such way through.
#[derive(Clone, Copy)]
struct Row {
    /// A way without any write.
    through: Option<Nanos>,
    /// Up to the end of the first write.
    first: Option<Nanos>,
    /// From the end of the last write on.
    last: Option<Nanos>,
    /// From the end of a write to that of the next.
    between: Option<Nanos>,
    /// All of it, no skip taken.
    whole: Nanos,
}

impl Row {
    const NOTHING: Self = Self { through: Some(Nanos::ZERO), ..Self::NONE };
    const NONE: Self =
        Self { through: None, first: None, last: None, between: None, whole: Nanos::ZERO };

    fn time(time: Nanos) -> Self {
        Self { through: Some(time), whole: time, ..Self::NONE }
    }

    fn write(time: Nanos) -> Self {
        Self { first: Some(time), last: Some(Nanos::ZERO), whole: time, ..Self::NONE }
    }

    fn then(self, next: Self) -> Self {
        let sum = |one: Option<Nanos>, two: Option<Nanos>| Some(one? + two?);
        Self {
            through: sum(self.through, next.through),
            first: self.first.max(sum(self.through, next.first)),
            last: next.last.max(sum(self.last, next.through)),
            between: self.between.max(next.between).max(sum(self.last, next.first)),
            whole: self.whole + next.whole,
        }
    }

    fn or(self, other: Self) -> Self {
        Self {
            through: self.through.max(other.through),
            first: self.first.max(other.first),
            last: self.last.max(other.last),
            between: self.between.max(other.between),
            whole: self.whole.max(other.whole),
        }
    }

    /// So many turns of it, one at least; turns may come to nothing but time before a write and
    /// after it.
    fn turns(self, times: Times) -> Self {
        let times = match times {
            Times::Fixed(times) => u64::from(times.max(1)),
            Times::N => u64::from(u32::MAX),
        };
        let idle = self.through.unwrap_or_default() * (times - 1);
        let more = |time: Option<Nanos>| time.map(|time| time + idle);
        let (first, last) = (more(self.first), more(self.last));
        let next = if times > 1 { Self { last, ..Self::NONE }.then(self).between } else { None };
        let through = self.through.map(|time| time + idle);
        let whole = self.whole * times;
        Self { through, first, last, between: self.between.max(next), whole }
    }
}

impl Catalogue {
    /// Words of the largest page-write part on `bits` data lines that is known; `None` where chips do
    /// not have so many.
    pub fn largest_of_pages(&self, bits: u8) -> Option<u32> {
        let width = Width::from_bits(bits.into()).filter(|width| *width != Width::W32)?;
        let of_pages = self.of_family(Family::Page).filter(|part| part.bus.has(width));
        let least = if width == Width::W16 { LARGEST_X16 } else { 0 };
        let largest = of_pages.map(|part| part.geometry.size_bytes).fold(least, u64::max);
        Some(u32::try_from(largest / width.bytes() as u64).unwrap_or(u32::MAX))
    }
}

impl Asking {
    /// Refuses unless `window` holds for everything that asking by this way writes.
    pub fn in_window(&self, window: &Window) -> Result<Result<(), TooSlow>, BuildError> {
        // Words of zeros tell something in every lane: the longest form.
        Ok(window.holds(&[self.ids(|_| 0)?, self.reset()?]))
    }
}

impl Writing {
    /// Refuses unless `window` holds for everything that changes page-write parts; other families
    /// have no such window.
    pub fn in_window(&self, window: &Window) -> Result<Result<(), TooSlow>, BuildError> {
        if self.way.family != Family::Page {
            return Ok(Ok(()));
        }
        let mut scripts = vec![self.reset()?];
        for kind in [super::ScriptKind::Pages, super::ScriptKind::BlankPages] {
            scripts.push(self.script(kind)?);
        }
        for script in [true, false].into_iter().filter_map(|on| self.protection(on)) {
            scripts.push(script?);
        }
        Ok(window.holds(&scripts))
    }
}

#[cfg(test)]
mod tests;
