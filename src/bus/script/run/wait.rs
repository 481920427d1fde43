//! Waits: each lane is judged for itself, each poll strobes afresh.

use super::{Busy, Flow, Run};
use crate::bus::script::{Env, Expect, LaneResult, Limits, Op, Wait, WaitKind, Why};
use crate::bus::{Lane, Nanos, Word};

/// A wait at work.
#[derive(Clone, Copy, Debug)]
pub(super) struct Polling {
    wait: Wait,
    /// What the lanes must read, and the bits that count.
    value: Word,
    mask: Word,
    /// Bit n: lane n is in the test.
    open: u8,
    deadline: Nanos,
}

impl Polling {
    /// The lanes in the test and their bits.
    fn lanes(self) -> impl Iterator<Item = (usize, Word)> {
        let bits = self.wait.lane.bits() as u8;
        (0..4_u8)
            .filter(move |lane| self.open >> lane & 1 == 1)
            .map(move |lane| (usize::from(lane), Lane { first: lane * bits, bits }.mask()))
    }

    /// Gives every lane still in the test this result.
    pub(super) fn settle(self, results: &mut [LaneResult; 4], result: LaneResult) {
        for (lane, _) in self.lanes() {
            results[lane] = result;
        }
    }

    fn meets(&self, word: Word, lane: Word) -> bool {
        (word ^ self.value) & self.mask & lane == 0
    }

    const fn fails(&self, word: Word, lane: Word) -> bool {
        word & self.wait.fail & lane != 0
    }

    /// True if what was read so far needs one read more before this lane can be judged.
    fn doubtful(&self, first: Word, second: Word, lane: Word) -> bool {
        match self.wait.kind {
            WaitKind::Data | WaitKind::Status => self.meets(first, lane) || self.fails(first, lane),
            WaitKind::Toggle => (first ^ second) & lane == 0 || self.fails(second, lane),
        }
    }

    /// What two reads say of a lane; `None` leaves it in the test.
    fn data(&self, first: Word, second: Word, lane: Word, over: bool) -> Option<LaneResult> {
        let met = (self.meets(first, lane), self.meets(second, lane));
        let still = (first ^ second) & lane == 0;
        match met {
            (true, true) => Some(LaneResult::Done),
            (false, false) if self.fails(first, lane) && self.fails(second, lane) => {
                Some(LaneResult::Failed)
            }
            (false, false) if over && still && self.wait.kind == WaitKind::Data => {
                Some(LaneResult::Different)
            }
            _ => over.then_some(LaneResult::TimedOut),
        }
    }

    /// What three reads say of a lane that toggles while it is busy.
    fn toggle(&self, reads: [Word; 3], lane: Word, over: bool) -> Option<LaneResult> {
        let [first, second, third] = reads;
        let still = ((first ^ second) & lane == 0, (second ^ third) & lane == 0);
        match still {
            (true, true) if self.meets(third, lane) => Some(LaneResult::Done),
            (true, true) => Some(LaneResult::Different),
            (false, false) if self.fails(second, lane) && self.fails(third, lane) => {
                Some(LaneResult::Failed)
            }
            _ => over.then_some(LaneResult::TimedOut),
        }
    }
}

impl Run {
    pub(super) fn begin_wait(&mut self, wait: &Wait, now: Nanos) -> Result<Polling, Why> {
        let (_, shape) = self.shape()?;
        let (value, mask) = match wait.expect {
            Expect::Payload => (self.peek(), u32::MAX),
            Expect::Ones => (u32::MAX, u32::MAX),
            Expect::Value { value, mask } => (value, mask),
        };
        let ones = shape.width.ones();
        let all = Polling {
            wait: *wait,
            value,
            mask: mask & ones,
            open: (1 << (32 / wait.lane.bits())) - 1,
            deadline: now + Nanos::from_millis(wait.timeout_ms.into()),
        };
        let meant = all.lanes().filter(|(_, lane)| lane & ones & self.mask != 0);
        let open = meant.fold(0, |open, (lane, _)| open | 1 << lane);
        self.lanes = [LaneResult::Unasked; 4];
        Ok(Polling { open, ..all })
    }

    /// One poll. Two reads for data and status, three for toggling; the last one only if
    /// something depends on it. The time-out counts for a poll that begins after it, so that no
    /// pause of the interpreter makes a chip look slow.
    pub(super) fn poll<E: Env + ?Sized>(
        &mut self,
        env: &mut E,
        mut polling: Polling,
    ) -> Result<Flow, Why> {
        let address = if polling.wait.at_b { self.b } else { self.a };
        let over = env.now() >= polling.deadline;
        let toggles = polling.wait.kind == WaitKind::Toggle;
        let mut reads = [0; 3];
        reads[0] = self.read(env, address)?;
        let mut made = 1;
        if toggles {
            reads[1] = self.read(env, address)?;
            made = 2;
        }
        let doubt = |(_, lane)| polling.doubtful(reads[0], reads[1], lane);
        let complete = over || polling.lanes().any(doubt);
        if complete {
            reads[made] = self.read(env, address)?;
            self.d = reads[made];
            for (lane, bits) in polling.lanes() {
                let result = if toggles {
                    polling.toggle(reads, bits, over)
                } else {
                    polling.data(reads[0], reads[1], bits, over)
                };
                if let Some(result) = result {
                    self.lanes[lane] = result;
                    polling.open &= !(1 << lane);
                }
            }
        } else {
            self.d = reads[made - 1];
        }
        self.busy = Busy::Poll(polling);
        if polling.open == 0 {
            return self.judge_wait();
        }
        env.delay(Limits::POLL_PAUSE);
        Ok(Flow::On)
    }

    fn judge_wait(&mut self) -> Result<Flow, Why> {
        let any = |result| self.lanes.contains(&result);
        if any(LaneResult::Failed) || any(LaneResult::Different) {
            Err(Why::WaitFailed)
        } else if any(LaneResult::TimedOut) {
            Err(Why::TimedOut)
        } else {
            Ok(self.done())
        }
    }

    /// One look at the ready line.
    pub(super) fn ready<E: Env + ?Sized>(
        &mut self,
        env: &mut E,
        since: Nanos,
    ) -> Result<Flow, Why> {
        let timeout_ms = match self.ops.get(self.next).map(|placed| placed.op) {
            Some(Op::Ready { timeout_ms }) => timeout_ms,
            _ => 0,
        };
        let over = env.now() >= since + Nanos::from_millis(timeout_ms.into());
        if env.ready() {
            return Ok(self.done());
        }
        if over {
            return Err(Why::TimedOut);
        }
        env.delay(Limits::POLL_PAUSE);
        Ok(Flow::On)
    }
}
