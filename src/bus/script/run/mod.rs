//! The interpreter: a run as a value that is stepped, stopped and cut off at will.

mod cycles;
mod start;
mod sweep;
mod wait;

use super::{
    Abort, Ended, Env, LaneResult, Line, LineRefusal, Mismatch, Op, Placed, Source, Times, Why,
};
use crate::bus::{Nanos, Shape, ShapeId, Word, WordAddress};
pub use start::Start;
use std::sync::Arc;
use sweep::Sweeping;
use wait::Polling;

/// What a step left behind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// There is more to do now.
    Running,
    /// Nothing to do before this time; the caller lets it pass and steps again.
    Waiting(Nanos),
    /// The run has ended.
    Done,
}

/// Operations that last longer than one unit of work.
#[derive(Clone, Copy, Debug)]
enum Busy {
    /// Between two operations.
    No,
    /// In a delay up to this time.
    Delay(Nanos),
    /// Waiting for the ready line since this time.
    Ready(Nanos),
    /// In a wait.
    Poll(Polling),
    /// In a sweep.
    Sweep(Sweeping),
}

/// A loop that is open.
#[derive(Clone, Copy, Debug, Default)]
struct Turn {
    body: usize,
    left: u32,
}

/// What a unit of work came to.
enum Flow {
    On,
    Wait(Nanos),
}

/// Units of work after which a step returns even if time stands still.
const UNITS: u32 = 4096;

/// A script at work. Nothing happens but in [`Run::step`], which never waits by itself for longer
/// than it was told to.
#[derive(Clone, Debug)]
pub struct Run {
    ops: Arc<[Placed]>,
    len: u32,
    finally: Option<usize>,
    record: usize,
    payload: Vec<Word>,
    emitted: Vec<Word>,
    mismatches: Vec<Mismatch>,
    mismatched: u32,
    next: usize,
    turns: [Turn; 4],
    depth: usize,
    busy: Busy,
    critical: Option<Nanos>,
    atomic: bool,
    tidying: bool,
    /// Why and where it ended, or will have when `finally` is through.
    verdict: Option<(Why, u32)>,
    asked: Option<Abort>,
    ended: Option<Ended>,
    started: Option<Nanos>,
    seen: Nanos,
    shape: Option<(ShapeId, Shape)>,
    mask: Word,
    rest: Option<Word>,
    a: WordAddress,
    b: WordAddress,
    n: u32,
    d: Word,
    cursor: usize,
    lanes: [LaneResult; 4],
}

impl Run {
    /// Goes on until the clock of `env` reaches `until`, the run ends, or nothing is to be done
    /// before a time at or after `until`; at least one unit of work is done, and an atomic stretch
    /// is always made in one go.
    pub fn step<E: Env + ?Sized>(&mut self, env: &mut E, until: Nanos) -> Status {
        self.seen = env.now();
        self.started.get_or_insert(self.seen);
        let mut units = 0;
        while self.ended.is_none() {
            if !env.powered() {
                self.lose_power();
                break;
            }
            if let Some(abort) = self.asked
                && self.safe()
                && !self.through()
            {
                self.end(Why::Stopped(abort));
                continue;
            }
            let flow = self.unit(env, until);
            self.seen = env.now();
            match flow {
                Ok(Flow::On) => {}
                Ok(Flow::Wait(time)) => return Status::Waiting(time),
                Err(why) => self.end(why),
            }
            units += 1;
            if !self.atomic && (self.seen >= until || units >= UNITS) {
                break;
            }
        }
        if self.ended.is_some() { Status::Done } else { Status::Running }
    }

    /// Asks the run to stop at its next safe point and to run `finally`.
    pub fn stop(&mut self) {
        self.abort(Abort::Stop);
    }

    /// As [`Run::stop`], for another reason; the first reason counts.
    pub fn abort(&mut self, reason: Abort) {
        self.asked.get_or_insert(reason);
    }

    /// The rail is gone: the run ends at once, without `finally`.
    pub fn lose_power(&mut self) {
        if self.ended.is_none() {
            let at = self.verdict.map_or_else(|| self.at(), |(_, at)| at);
            self.close_lanes();
            self.verdict = Some((Why::PowerLost, at));
            self.finish();
        }
    }

    /// How it ended, once it has.
    pub const fn ended(&self) -> Option<&Ended> {
        self.ended.as_ref()
    }

    /// The words emitted so far.
    pub fn emitted(&self) -> &[Word] {
        &self.emitted
    }

    /// The mismatches recorded so far.
    pub fn mismatches(&self) -> &[Mismatch] {
        &self.mismatches
    }

    /// True if a request to stop would be honoured now. The first operation is always made: it
    /// selects the shape that `finally` may need.
    pub fn safe(&self) -> bool {
        let held = self.critical.is_some_and(|end| self.seen < end);
        !held && !self.atomic && !self.tidying && self.next > 0
    }

    /// True if nothing is left of the main part: a stop then changes nothing.
    fn through(&self) -> bool {
        let next = self.ops.get(self.next).map(|placed| placed.op);
        matches!((&self.busy, next), (Busy::No, None | Some(Op::Finally)))
    }

    /// Offset of the operation that is at work or next.
    fn at(&self) -> u32 {
        self.ops.get(self.next).map_or(self.len, |placed| placed.at)
    }

    /// Ends the main part for `why`. `finally` follows; within it, what goes wrong is only noted.
    fn end(&mut self, why: Why) {
        if why == Why::PowerLost {
            return self.lose_power();
        }
        if self.tidying {
            let at = self.at();
            self.verdict.get_or_insert((why, at));
            self.busy = Busy::No;
            self.next += 1;
            return;
        }
        self.close_lanes();
        self.verdict = Some((why, self.at()));
        (self.busy, self.critical, self.atomic, self.depth) = (Busy::No, None, false, 0);
        match self.finally {
            Some(first) => (self.next, self.tidying) = (first, true),
            None => self.finish(),
        }
    }

    /// What is still in a wait's test was given up.
    fn close_lanes(&mut self) {
        if let Busy::Poll(polling) = self.busy {
            polling.settle(&mut self.lanes, LaneResult::Aborted);
        }
    }

    fn finish(&mut self) {
        let (why, at) = self.verdict.unwrap_or((Why::Good, self.len));
        self.busy = Busy::No;
        self.ended = Some(Ended {
            at,
            why,
            lanes: self.lanes,
            a: self.a,
            d: self.d,
            elapsed: self.seen.since(self.started.unwrap_or(self.seen)),
            emitted: self.emitted.len() as u32,
            mismatches: self.mismatched,
        });
    }

    /// One unit of work: an operation, or one poll or address of a long one.
    fn unit<E: Env + ?Sized>(&mut self, env: &mut E, until: Nanos) -> Result<Flow, Why> {
        match self.busy {
            Busy::No => {}
            Busy::Delay(wake) => return Ok(self.delay(env, wake, until)),
            Busy::Ready(since) => return self.ready(env, since),
            Busy::Poll(polling) => return self.poll(env, polling),
            Busy::Sweep(sweeping) => return self.sweep(env, sweeping),
        }
        let Some(&Placed { at, op }) = self.ops.get(self.next) else {
            self.finish();
            return Ok(Flow::On);
        };
        env.operation(at);
        match op {
            Op::Shape(slot) => {
                let shape = env.shape(slot).ok_or(Why::NoShape)?;
                self.shape = Some((slot, shape));
            }
            Op::Lanes(mask) => self.mask = mask,
            Op::Rest(value) => self.rest = Some(value),
            Op::SetA(Source::At(address)) => self.a = address,
            Op::SetA(Source::B) => self.a = self.b,
            Op::SetA(Source::Payload) => self.a = WordAddress(self.take()),
            Op::Step(words) => {
                self.a = WordAddress(self.a.0.wrapping_add_signed(i32::from(words)));
            }
            Op::Write { value, at } => self.write(env, self.place(at), value)?,
            Op::WritePayload => {
                let value = self.take();
                self.write(env, self.a, value)?;
            }
            Op::WriteCount { lane } => {
                let count = self.n.wrapping_sub(1) & lane.ones();
                let every = u32::MAX / lane.ones();
                self.write(env, self.b, count.wrapping_mul(every))?;
            }
            Op::Read(at) => self.d = self.read(env, self.place(at))?,
            Op::Emit => self.emitted.push(self.d),
            Op::Previous => self.cursor = self.cursor.wrapping_sub(1),
            Op::Next => self.cursor = self.cursor.wrapping_add(1),
            Op::Wait(wait) => {
                self.busy = Busy::Poll(self.begin_wait(&wait, env.now())?);
                return Ok(Flow::On);
            }
            Op::Ready { .. } => {
                self.busy = Busy::Ready(env.now());
                return Ok(Flow::On);
            }
            Op::Delay { us } => {
                let wake = env.now() + Nanos::from_micros(us.into());
                self.busy = Busy::Delay(wake);
                return Ok(self.delay(env, wake, until));
            }
            Op::SkipIfPayload { count, value } => {
                let hit = self.peek() == value;
                self.next += if hit { usize::from(count) } else { 0 };
            }
            Op::SkipIfD { count, mask, value } => {
                let hit = self.d & mask == value;
                self.next += if hit { usize::from(count) } else { 0 };
            }
            Op::Sweep(sweep) => {
                self.busy = Busy::Sweep(Sweeping::new(sweep));
                return Ok(Flow::On);
            }
            Op::Loop(times) => self.enter(times),
            Op::EndLoop => {
                self.turn();
                return Ok(Flow::On);
            }
            Op::Critical { max_ms } => {
                self.critical = Some(env.now() + Nanos::from_millis(max_ms.into()));
            }
            Op::EndCritical => self.critical = None,
            Op::Atomic => self.atomic = true,
            Op::EndAtomic => self.atomic = false,
            Op::Finally => self.tidying = true,
            Op::Line { line, active } => move_line(env, line, active)?,
        }
        self.next += 1;
        Ok(Flow::On)
    }

    /// The checker allows at most four open loops, so there is always room.
    fn enter(&mut self, times: Times) {
        let left = if let Times::Fixed(times) = times { times } else { self.n };
        if let Some(turn) = self.turns.get_mut(self.depth) {
            *turn = Turn { body: self.next + 1, left };
            self.depth += 1;
        }
    }

    fn turn(&mut self) {
        let open = self.depth.checked_sub(1).and_then(|top| self.turns.get_mut(top));
        match open {
            Some(turn) if turn.left > 1 => {
                turn.left -= 1;
                self.next = turn.body;
            }
            _ => {
                self.depth = self.depth.saturating_sub(1);
                self.next += 1;
            }
        }
    }

    /// The operation at work is through.
    fn done(&mut self) -> Flow {
        self.busy = Busy::No;
        self.next += 1;
        Flow::On
    }

    fn delay<E: Env + ?Sized>(&mut self, env: &mut E, wake: Nanos, until: Nanos) -> Flow {
        let now = env.now();
        if wake > now {
            if wake > until && !self.atomic {
                return Flow::Wait(wake);
            }
            env.delay(wake.since(now));
        }
        self.done()
    }

    /// The payload word at the cursor; the checker keeps the cursor inside.
    fn peek(&self) -> Word {
        self.payload.get(self.cursor).copied().unwrap_or(0)
    }

    fn take(&mut self) -> Word {
        let word = self.peek();
        self.cursor = self.cursor.wrapping_add(1);
        word
    }
}

fn move_line<E: Env + ?Sized>(env: &mut E, line: Line, active: bool) -> Result<(), Why> {
    env.line(line, active).map_err(|refusal| match refusal {
        LineRefusal::Missing => Why::NoLine,
        LineRefusal::NotPermitted => Why::NotPermitted,
    })
}
