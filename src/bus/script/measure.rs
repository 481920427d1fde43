//! What a script takes, emits and lasts for a given N, found without running it.

use super::{CheckError, Limits, Op, Placed, Refusal, Times, Wait};
use crate::bus::Nanos;

/// What a script needs for one N.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Need {
    /// Payload words, exactly.
    pub payload: u64,
    /// Words emitted, at most.
    pub emitted: u64,
    /// The longest that it can last, `finally` included.
    pub worst: Nanos,
    /// The longest between a request to stop and the end, `finally` included.
    pub stop: Nanos,
}

/// A row of operations. The cursor counts from its place at the row's start; what lies before
/// `least` or from `most` on is never touched.
#[derive(Clone, Copy, Default)]
struct Row {
    /// The longest time.
    time: Nanos,
    emitted: u64,
    /// Where the cursor ends.
    net: i64,
    least: (i64, u32),
    most: (i64, u32),
}

impl Row {
    fn touch(&mut self, from: i64, to: i64, at: u32) {
        if from < self.least.0 {
            self.least = (from, at);
        }
        if to > self.most.0 {
            self.most = (to, at);
        }
    }

    fn add(&mut self, placed: &Placed, limits: &Limits, n: u32, quick: bool) {
        let Placed { at, op } = placed;
        self.time += if quick { quick_time(op, limits) } else { op_time(op, limits, n) };
        self.emitted = self.emitted.saturating_add(u64::from(*op == Op::Emit));
        if op.looks() {
            self.touch(self.net, self.net.saturating_add(1), *at);
        }
        self.net = self.net.saturating_add(i64::from(op.takes()));
        self.touch(self.net, self.net, *at);
    }

    /// Appends `body`, `times` times over. Turns only move the cursor on, so the first turn goes
    /// furthest back and the last furthest on.
    fn add_loop(&mut self, body: &Self, times: u32) {
        let last = body.net.saturating_mul(i64::from(times) - 1);
        let end = body.net.saturating_mul(i64::from(times));
        let from = self.net.saturating_add(body.least.0);
        let to = self.net.saturating_add(last).saturating_add(body.most.0);
        self.touch(from, from, body.least.1);
        self.touch(to, to, body.most.1);
        self.net = self.net.saturating_add(end);
        self.time += body.time * u64::from(times);
        self.emitted = self.emitted.saturating_add(body.emitted.saturating_mul(u64::from(times)));
    }
}

/// The longest time of one operation.
fn op_time(op: &Op, limits: &Limits, n: u32) -> Nanos {
    let cycle = limits.cycle;
    let own = match *op {
        Op::Write { .. } | Op::WritePayload | Op::WriteCount { .. } | Op::Read(_) => cycle,
        // A poll that begins just before the time-out, and the one after it.
        Op::Wait(Wait { timeout_ms, .. }) => {
            Nanos::from_millis(timeout_ms.into()) + (cycle * 3 + Limits::POLL_PAUSE + limits.op) * 2
        }
        Op::Ready { timeout_ms } => {
            Nanos::from_millis(timeout_ms.into()) + (Limits::POLL_PAUSE + limits.op) * 2
        }
        Op::Delay { us } => Nanos::from_micros(us.into()),
        Op::Sweep(sweep) => (cycle * u64::from(sweep.len()) + limits.op) * u64::from(n),
        _ => Nanos::ZERO,
    };
    own + limits.op
}

/// The same of one that is quick.
fn quick_time(op: &Op, limits: &Limits) -> Nanos {
    match op {
        Op::Write { .. } | Op::WritePayload | Op::Read(_) => limits.atomic_op + limits.atomic_cycle,
        _ => limits.atomic_op,
    }
}

/// Where an operation stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Within {
    Nothing,
    /// First in an atomic stretch.
    Start,
    /// Later in one.
    Atomic,
}

/// Measures `ops`, which are balanced, for this `n` and refuses what `limits` refuse.
pub(super) fn measure(ops: &[Placed], limits: &Limits, n: u32) -> Result<Need, CheckError> {
    let mut row = Row::default();
    let mut outer: Vec<(Row, u32)> = Vec::new();
    let mut atomic_from = Nanos::ZERO;
    let mut main_time = None;
    let (mut critical, mut held) = (Nanos::ZERO, limits.op + limits.cycle * 8);
    let mut stands = Within::Nothing;
    for placed in ops {
        let at = placed.at;
        let quick = limits.atomic_op != Nanos::ZERO
            && placed.op.is_quick()
            && match stands {
                Within::Nothing => false,
                Within::Start => !matches!(placed.op, Op::Loop(_)),
                Within::Atomic => true,
            };
        stands = match (placed.op, stands) {
            (Op::Atomic, _) => Within::Start,
            (Op::EndAtomic, _) | (_, Within::Nothing) => Within::Nothing,
            _ => Within::Atomic,
        };
        let refuse = |what| Err(CheckError { at, what });
        match placed.op {
            Op::Loop(times) => {
                row.add(placed, limits, n, quick);
                let times = if let Times::Fixed(times) = times { times } else { n };
                outer.push((std::mem::take(&mut row), times));
                continue;
            }
            Op::EndLoop => {
                row.add(placed, limits, n, quick);
                if row.net < 0 {
                    return refuse(Refusal::LoopGoesBack);
                }
                let Some((mut before, times)) = outer.pop() else {
                    return refuse(Refusal::Unbalanced);
                };
                before.add_loop(&row, times);
                row = before;
                continue;
            }
            Op::WriteCount { lane } if n.wrapping_sub(1) > lane.ones() => {
                return refuse(Refusal::CountTooWide(lane.bits()));
            }
            Op::Critical { max_ms } => critical = critical.max(Nanos::from_millis(max_ms.into())),
            Op::Atomic => atomic_from = row.time,
            Op::Finally => main_time = Some(row.time),
            _ => {}
        }
        row.add(placed, limits, n, quick);
        if placed.op == Op::EndAtomic {
            let time = row.time - atomic_from;
            held = held.max(time);
            if time > Limits::ATOMIC {
                return refuse(Refusal::AtomicTooLong { us: time.0 / 1000 });
            }
        }
    }
    let at = row.least.1;
    if row.least.0 < 0 {
        return Err(CheckError { at, what: Refusal::PayloadLeft });
    }
    let at = row.most.1;
    if row.most.0 > row.net {
        return Err(CheckError { at, what: Refusal::PayloadLeft });
    }
    let worst = row.time;
    let finally = main_time.map_or(Nanos::ZERO, |before| worst - before);
    let need = Need {
        payload: row.net.unsigned_abs(),
        emitted: row.emitted,
        worst,
        stop: critical + held + held + finally,
    };
    within(need, limits)
}

fn within(need: Need, limits: &Limits) -> Result<Need, CheckError> {
    let (worst, most) = (need.worst, limits.time);
    if worst > most {
        return Err(CheckError { at: 0, what: Refusal::TooSlow { worst, most } });
    }
    if need.emitted > u64::from(limits.emitted) {
        let (words, most) = (need.emitted, limits.emitted);
        return Err(CheckError { at: 0, what: Refusal::TooManyEmitted { words, most } });
    }
    Ok(need)
}
