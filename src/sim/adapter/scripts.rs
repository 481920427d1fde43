//! The cycle scripts that a host has stored.

use super::Adapter;
use super::serve::Begun;
use super::work::Task;
use crate::bus::script::{Checked, LaneRule, Limits, Op, Script, SlotRule, check};
use crate::bus::{Nanos, ShapeId, crc32};
use crate::sim::costs::Costs;
use crate::wire::{FaultCode, Reply, ScriptReply, ScriptRequest};

/// The longest run, and the longest critical stretch.
const LONGEST: Nanos = Nanos::from_secs(600);
/// Kind, tag and fields of RUN's reply without mismatches and emitted words.
pub(super) const RUN_REPLY_HEAD: u16 = 40;
/// Mismatches that are remembered at most.
const MISMATCHES: u16 = 64;

/// Scripts by slot; each was checked when it was stored.
#[derive(Debug, Default)]
pub(super) struct Scripts {
    slots: Vec<(u8, Script)>,
}

impl Scripts {
    pub(super) fn clear(&mut self) {
        self.slots.clear();
    }

    fn put(&mut self, slot: u8, script: Script) {
        self.slots.retain(|(of, _)| *of != slot);
        self.slots.push((slot, script));
    }

    pub(super) fn get(&self, slot: u8) -> Option<&Script> {
        self.slots.iter().find(|(of, _)| *of == slot).map(|(_, script)| script)
    }

    /// True if the slot holds exactly these bytes.
    pub(super) fn same(&self, request: &ScriptRequest) -> bool {
        self.get(request.slot).is_some_and(|script| script.0 == request.bytes)
    }
}

/// The shapes that the script's writes use, in the order of the text.
pub(super) fn written_shapes(script: &Checked) -> impl Iterator<Item = ShapeId> {
    let mut shape = None;
    script.ops().iter().filter_map(move |placed| {
        let writes = match placed.op {
            Op::Shape(slot) => {
                shape = Some(slot);
                false
            }
            Op::Write { .. } | Op::WritePayload | Op::WriteCount { .. } => true,
            Op::Sweep(sweep) => sweep.writes(),
            _ => false,
        };
        shape.filter(|_| writes)
    })
}

impl Adapter {
    pub(super) fn begin_script(&mut self, request: &ScriptRequest, short: Nanos) -> Begun {
        let ScriptRequest { slot, bytes } = request;
        if *slot >= self.config.sizes.script_slots {
            return Err((FaultCode::NO_SCRIPT, 0));
        }
        let mut ends = short;
        if !self.scripts.same(request) {
            let script = Script(bytes.clone());
            let checked = self.checked(&script)?;
            ends += self.costs.time(Costs::checked(checked.ops(), bytes.len()));
            self.scripts.put(*slot, script);
        }
        let reply = ScriptReply { slot: *slot, crc: crc32(bytes) };
        Ok((Task::Answer(Reply::Script(reply), None), ends))
    }

    /// The script checked against sizes and shapes as they are now: they may have changed since
    /// it was stored.
    pub(super) fn checked(&self, script: &Script) -> Result<Checked, (FaultCode, u32)> {
        let sizes = &self.config.sizes;
        // An adapter does not know what a space is; that RAM and pages take whole words only is
        // for the host to see to.
        let shape = |id| self.shapes.get(ShapeId(id));
        let rule = |id| shape(id).map(|s| SlotRule { width: s.width, lanes: LaneRule::Rest });
        let all = (0..sizes.shape_slots).filter_map(shape);
        let longest = all.map(|s| s.times.cycle() + Nanos(u64::from(s.times.release))).max();
        let (op, cycle) = self.costs.longest();
        let longest = longest.unwrap_or(Nanos::ZERO);
        let atomic = self.costs.in_atomic();
        let room = sizes.tx_body_max.saturating_sub(RUN_REPLY_HEAD);
        let limits = Limits {
            bytes: u32::from(sizes.script_bytes),
            nesting: Limits::DEEPEST,
            time: LONGEST,
            critical: LONGEST,
            emitted: u32::from(sizes.emit_remembered),
            mismatches: MISMATCHES.min(room / 12),
            shapes: (0..sizes.shape_slots).map(rule).collect(),
            cycle: longest + cycle,
            op,
            atomic_op: atomic.operation,
            atomic_cycle: longest + atomic.cycle,
        };
        check(script, &limits).map_err(|error| (FaultCode::SCRIPT_REFUSED, error.at))
    }
}
