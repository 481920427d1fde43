//! The sweep: a march element at bus speed, one address a unit of work.

use super::{Flow, Run};
use crate::bus::script::{Env, Mismatch, Sweep, SweepOp, Why};
use crate::bus::{Word, WordAddress};

/// A sweep at work.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sweeping {
    sweep: Sweep,
    done: u32,
    recorded: u16,
}

impl Sweeping {
    pub(super) const fn new(sweep: Sweep) -> Self {
        Self { sweep, done: 0, recorded: 0 }
    }
}

impl Run {
    /// The operations at one address.
    pub(super) fn sweep<E: Env + ?Sized>(
        &mut self,
        env: &mut E,
        mut sweeping: Sweeping,
    ) -> Result<Flow, Why> {
        let Sweeping { sweep, done, .. } = sweeping;
        let from_b = if sweep.down { self.n.wrapping_sub(1).wrapping_sub(done) } else { done };
        self.a = WordAddress(self.b.0.wrapping_add(from_b));
        for op in sweep.ops() {
            let (SweepOp::Read(one) | SweepOp::Write(one)) = op;
            let value = if one { !sweep.background } else { sweep.background };
            match op {
                SweepOp::Write(_) => self.write(env, self.a, value)?,
                SweepOp::Read(_) => {
                    self.d = if sweep.precharge {
                        self.read_charged(env, self.a, !value)?
                    } else {
                        self.read(env, self.a)?
                    };
                    self.judge(value, sweep.record, &mut sweeping.recorded)?;
                }
            }
        }
        sweeping.done = done.wrapping_add(1);
        if sweeping.done >= self.n {
            return Ok(self.done());
        }
        self.busy = super::Busy::Sweep(sweeping);
        Ok(Flow::On)
    }

    fn judge(&mut self, value: Word, record: u16, recorded: &mut u16) -> Result<(), Why> {
        let (_, shape) = self.shape()?;
        let lanes = self.mask & shape.width.ones();
        if (self.d ^ value) & lanes == 0 {
            return Ok(());
        }
        self.mismatched = self.mismatched.saturating_add(1);
        if *recorded < record && self.mismatches.len() < self.record {
            *recorded += 1;
            let expected = value & lanes;
            self.mismatches.push(Mismatch { address: self.a, expected, got: self.d });
        }
        Ok(())
    }
}
