//! The checker: what it accepts can be run.

use super::limits::partial;
use super::measure::measure;
use super::{CheckError, LaneRule, Limits, Need, Op, Placed, Refusal, Script, SlotRule, Times};
use crate::bus::Nanos;
use std::sync::Arc;

/// A script that was checked against an adapter's limits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    script: Script,
    ops: Arc<[Placed]>,
    limits: Limits,
    finally: Option<usize>,
    least: Need,
}

impl Checked {
    /// The script.
    pub const fn script(&self) -> &Script {
        &self.script
    }

    /// Its operations.
    pub fn ops(&self) -> &[Placed] {
        &self.ops
    }

    pub(super) fn shared_ops(&self) -> Arc<[Placed]> {
        Arc::clone(&self.ops)
    }

    /// What it was checked against.
    pub const fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The index of the operation after `finally`, if there is one.
    pub const fn finally(&self) -> Option<usize> {
        self.finally
    }

    /// True if it uses N, which then must not be zero.
    pub fn uses_n(&self) -> bool {
        self.ops.iter().any(|placed| placed.op.uses_n())
    }

    /// What it needs for N = 1: the least of any N.
    pub const fn least(&self) -> Need {
        self.least
    }

    /// What it needs for this N, or why it is refused with it.
    pub fn need(&self, n: u32) -> Result<Need, CheckError> {
        measure(&self.ops, &self.limits, if self.uses_n() { n } else { 1 })
    }
}

/// A block that is open.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Block {
    Loop,
    Critical,
    Atomic,
}

/// What the checker knows on its way through the text.
struct Walk<'a> {
    limits: &'a Limits,
    open: Vec<(Block, u32)>,
    slot: Option<SlotRule>,
    rest: bool,
    finally: bool,
}

/// Checks `script` against `limits`: every rule that does not depend on the start values, and
/// those that do for N = 1. [`Run::new`](super::Run::new) checks the rest before any cycle.
pub fn check(script: &Script, limits: &Limits) -> Result<Checked, CheckError> {
    let refuse = |at, what| Err(CheckError { at, what });
    let bytes = script.0.len() as u64;
    if bytes > u64::from(limits.bytes) {
        return refuse(limits.bytes, Refusal::TooLong { bytes, most: limits.bytes });
    }
    let ops = script.decode()?;
    match ops.first() {
        None => return refuse(0, Refusal::Empty),
        Some(Placed { op: Op::Shape(_), .. }) => {}
        Some(_) => return refuse(0, Refusal::FirstNotShape),
    }
    let mut walk = Walk { limits, open: Vec::new(), slot: None, rest: false, finally: false };
    for (index, placed) in ops.iter().enumerate() {
        walk.take(placed)
            .and_then(|()| skip(&ops[index..]))
            .map_err(|what| CheckError { at: placed.at, what })?;
    }
    if let Some((_, at)) = walk.open.last() {
        return refuse(*at, Refusal::NeverEnded);
    }
    let least = measure(&ops, limits, 1)?;
    let finally = ops.iter().position(|placed| placed.op == Op::Finally).map(|at| at + 1);
    Ok(Checked { script: script.clone(), ops: ops.into(), limits: limits.clone(), finally, least })
}

impl Walk<'_> {
    fn take(&mut self, placed: &Placed) -> Result<(), Refusal> {
        if self.finally && !straight(&placed.op) {
            return Err(Refusal::NotStraight);
        }
        match placed.op {
            Op::Shape(slot) => {
                self.slot = self.limits.slot(slot.0);
                self.slot.map(|_| ()).ok_or(Refusal::NoSuchShape(slot.0))
            }
            Op::Rest(_) => {
                self.rest = true;
                Ok(())
            }
            Op::Lanes(mask) => self.lanes(mask),
            Op::WriteCount { lane } => self.lane_fits(lane.bits()),
            Op::Wait(wait) => self.lane_fits(wait.lane.bits()),
            Op::Loop(times) => {
                let loops = self.open.iter().filter(|open| open.0 == Block::Loop).count();
                let most = self.limits.nesting.min(Limits::DEEPEST);
                if loops >= usize::from(most) {
                    return Err(Refusal::TooDeep(most));
                }
                if times == Times::Fixed(0) {
                    return Err(Refusal::LoopOfNone);
                }
                self.begin(Block::Loop, placed.at)
            }
            Op::Critical { max_ms: ms } => {
                if Nanos::from_millis(ms.into()) > self.limits.critical {
                    let most = self.limits.critical.as_millis();
                    return Err(Refusal::CriticalTooLong { ms, most });
                }
                self.begin(Block::Critical, placed.at)
            }
            Op::Atomic => self.begin(Block::Atomic, placed.at),
            Op::EndLoop => self.end(Block::Loop),
            Op::EndCritical => self.end(Block::Critical),
            Op::EndAtomic => self.end(Block::Atomic),
            Op::Finally if !self.open.is_empty() => Err(Refusal::NotStraight),
            Op::Finally => {
                self.finally = true;
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn begin(&mut self, block: Block, at: u32) -> Result<(), Refusal> {
        let inside = |what| self.open.iter().any(|open| open.0 == what);
        let nested = match block {
            Block::Loop => false,
            Block::Critical => inside(Block::Critical) || inside(Block::Atomic),
            Block::Atomic => inside(Block::Atomic),
        };
        if nested {
            return Err(Refusal::Nested);
        }
        self.open.push((block, at));
        Ok(())
    }

    fn end(&mut self, block: Block) -> Result<(), Refusal> {
        match self.open.pop() {
            Some((open, _)) if open == block => Ok(()),
            _ => Err(Refusal::Unbalanced),
        }
    }

    fn lanes(&self, mask: u32) -> Result<(), Refusal> {
        let Some(slot) = self.slot else { return Ok(()) };
        if mask & slot.width.ones() == 0 {
            return Err(Refusal::NoLanes);
        }
        let allowed = match slot.lanes {
            LaneRule::Whole => false,
            LaneRule::Rest => self.rest,
            LaneRule::Strobes => true,
        };
        if partial(mask, slot.width) && !allowed {
            return Err(Refusal::PartialLanes);
        }
        Ok(())
    }

    fn lane_fits(&self, lane: u32) -> Result<(), Refusal> {
        let word = self.slot.map_or(32, |slot| slot.width.bits());
        if lane > word { Err(Refusal::LaneTooWide { lane, word }) } else { Ok(()) }
    }
}

/// True for what may stand after `finally`.
fn straight(op: &Op) -> bool {
    use super::Source;
    matches!(
        op,
        Op::Shape(_)
            | Op::Lanes(_)
            | Op::Rest(_)
            | Op::SetA(Source::At(_) | Source::B)
            | Op::Step(_)
            | Op::Write { .. }
            | Op::WriteCount { .. }
            | Op::Delay { .. }
            | Op::Line { .. }
    )
}

/// Checks the skip at the start of `ops`, if there is one.
fn skip(ops: &[Placed]) -> Result<(), Refusal> {
    let Some(count) = ops.first().and_then(|placed| placed.op.skips()) else { return Ok(()) };
    if count == 0 {
        return Err(Refusal::SkipOfNone);
    }
    let passed = ops.get(1..=usize::from(count)).ok_or(Refusal::SkipLeaves)?;
    let mut depth = 0_u32;
    // The cursor's way at each depth. A loop that is passed must move it by nothing, so that how
    // often it turns does not matter.
    let mut moved = [0_i64; 9];
    for placed in passed {
        match placed.op {
            Op::Loop(_) | Op::Critical { .. } | Op::Atomic => {
                depth += 1;
                if let Some(inner) = moved.get_mut(depth as usize) {
                    *inner = 0;
                }
            }
            Op::EndLoop | Op::EndCritical | Op::EndAtomic => {
                let inner = moved.get(depth as usize).copied().unwrap_or(0);
                depth = depth.checked_sub(1).ok_or(Refusal::SkipLeaves)?;
                if placed.op == Op::EndLoop && inner != 0 {
                    return Err(Refusal::SkipTakes(inner));
                }
                moved[(depth as usize).min(8)] += inner;
            }
            Op::Finally => return Err(Refusal::SkipLeaves),
            Op::Emit => return Err(Refusal::SkipEmits),
            Op::Shape(_) | Op::Lanes(_) | Op::Rest(_) => return Err(Refusal::SkipSets),
            ref op => moved[(depth as usize).min(8)] += i64::from(op.takes()),
        }
    }
    match (depth, moved[0]) {
        (0, 0) => Ok(()),
        (0, words) => Err(Refusal::SkipTakes(words)),
        _ => Err(Refusal::SkipLeaves),
    }
}
