//! The beginning of a run: start values, and what is refused before any cycle.

use super::{Busy, LaneResult, Run, Turn};
use crate::bus::script::{Checked, Op, StartError};
use crate::bus::{Nanos, Word, WordAddress};

/// The registers at the beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Start {
    /// The address.
    pub a: WordAddress,
    /// The base.
    pub b: WordAddress,
    /// The count; at least 1 if the script uses it.
    pub n: u32,
    /// The data lines that writes are meant for.
    pub lanes: Word,
}

impl Run {
    /// A run at its beginning, or why it is refused; nothing touches the bus yet.
    pub fn new(script: &Checked, start: Start, payload: Vec<Word>) -> Result<Self, StartError> {
        let Start { a, b, n, lanes } = start;
        if n == 0 && script.uses_n() {
            return Err(StartError::NoCount);
        }
        if lanes == 0 {
            return Err(StartError::NoLanes);
        }
        let need = script.need(n).map_err(|error| StartError::Refused { n, error })?;
        let got = payload.len() as u64;
        if need.payload != got {
            return Err(StartError::Payload { takes: need.payload, got });
        }
        let sweeps = script.ops().iter().any(|placed| matches!(placed.op, Op::Sweep(_)));
        let record = if sweeps { usize::from(script.limits().mismatches) } else { 0 };
        Ok(Self {
            ops: script.shared_ops(),
            len: script.script().0.len() as u32,
            finally: script.finally(),
            record,
            payload,
            // All memory is taken here: while it runs nothing is allocated.
            emitted: Vec::with_capacity(need.emitted as usize),
            mismatches: Vec::with_capacity(record),
            mismatched: 0,
            next: 0,
            turns: [Turn::default(); 4],
            depth: 0,
            busy: Busy::No,
            critical: None,
            atomic: false,
            tidying: false,
            verdict: None,
            asked: None,
            ended: None,
            started: None,
            seen: Nanos::ZERO,
            shape: None,
            mask: lanes,
            rest: None,
            a,
            b,
            n,
            d: 0,
            cursor: 0,
            lanes: [LaneResult::Unasked; 4],
        })
    }
}
