//! Leave to write, shape by shape.

use super::Adapter;
use super::serve::Begun;
use super::work::Task;
use crate::bus::{Nanos, ShapeId, Word, WordAddress};
use crate::wire::{FaultCode, PermitReply, PermitRequest, Reply};

/// Where PERMIT's address mask stands in its body.
const MASK_AT: u32 = 18;

/// The permits that have been given.
#[derive(Clone, Debug, Default)]
pub(super) struct Permits {
    list: Vec<(PermitRequest, Nanos)>,
}

impl Permits {
    /// Gives leave from `t` on in place of that given before; zero seconds take it back.
    fn grant(&mut self, t: Nanos, permit: &PermitRequest) {
        self.forget(permit.shape);
        if permit.seconds > 0 {
            let until = t + Nanos::from_secs(u64::from(permit.seconds));
            self.list.push((permit.clone(), until));
        }
    }

    /// The shape is another one now.
    pub(super) fn forget(&mut self, shape: ShapeId) {
        self.list.retain(|(permit, _)| permit.shape != shape);
    }

    pub(super) fn clear(&mut self) {
        self.list.clear();
    }

    /// Those that hold at `t`: what a run keeps to its end.
    pub(super) fn valid(&self, t: Nanos) -> Self {
        let list = self.list.iter().filter(|(_, until)| *until > t).cloned().collect();
        Self { list }
    }

    /// True if writes of this shape are permitted anywhere.
    pub(super) fn any(&self, shape: ShapeId) -> bool {
        self.list.iter().any(|(permit, _)| permit.shape == shape)
    }

    /// True if a write is covered.
    pub(super) fn covers(&self, shape: ShapeId, address: WordAddress, lanes: Word) -> bool {
        self.list.iter().any(|(permit, _)| permit.shape == shape && permit.covers(address, lanes))
    }

    /// True if a permit lets control lines be moved: one of this shape, or any at all.
    pub(super) fn lines(&self, shape: Option<ShapeId>) -> bool {
        let meant = |of: ShapeId| shape.is_none_or(|shape| shape == of);
        self.list.iter().any(|(permit, _)| permit.lines && meant(permit.shape))
    }

    /// Seconds left of the longest one, rounded up.
    pub(super) fn seconds_left(&self, t: Nanos) -> u16 {
        let left = self.list.iter().map(|(_, until)| until.since(t).0.div_ceil(1_000_000_000));
        u16::try_from(left.max().unwrap_or(0)).unwrap_or(u16::MAX)
    }
}

impl Adapter {
    pub(super) fn begin_permit(&mut self, t: Nanos, permit: &PermitRequest, short: Nanos) -> Begun {
        if self.shapes.get(permit.shape).is_none() {
            return Err((FaultCode::NO_SHAPE, 0));
        }
        // A mask of nothing would make every address a command address.
        if permit.address_mask == 0 && !permit.addresses.is_empty() {
            return Err((FaultCode::MALFORMED, MASK_AT));
        }
        let end = 1_u64 << self.config.address_lines.min(32);
        let window = u64::from(permit.start.0) + u64::from(permit.words);
        if permit.words > 0 && window > end {
            let first = u64::from(permit.start.0).max(end);
            return Err((FaultCode::BEYOND_LINES, first as u32));
        }
        if permit.seconds > 0 && !self.rail.is_on() {
            return Err(self.rail.why_off());
        }
        self.permits.grant(t, permit);
        let reply = PermitReply { shape: permit.shape, seconds: permit.seconds };
        Ok((Task::Answer(Reply::Permit(reply), None), short))
    }
}
