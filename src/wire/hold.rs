//! HOLD and REPEAT: one cycle kept still, or made again and again.

use super::field::{Fields, Malformed};
use super::run::RunId;
use crate::bus::{ShapeId, Word, WordAddress};

/// HOLD: one cycle kept still for a meter or probe, until STOP or the next request that makes
/// cycles, and as long as good frames come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HoldRequest {
    /// Of a write its place in the run chain; of a read all zeros.
    pub id: RunId,
    /// The run before it, as in RUN; 0 for a read.
    pub after: u32,
    /// The shape.
    pub shape: ShapeId,
    /// A write cycle.
    pub write: bool,
    /// Where.
    pub address: WordAddress,
    /// What is written; 0 for a read.
    pub value: Word,
}

impl HoldRequest {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        self.id.put(out);
        out.extend(self.after.to_le_bytes());
        out.extend([self.shape.0, u8::from(self.write)]);
        out.extend(self.address.0.to_le_bytes());
        out.extend(self.value.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            id: RunId::take(f)?,
            after: f.u32("after")?,
            shape: ShapeId(f.u8("shape")?),
            write: f.flag("write")?,
            address: WordAddress(f.u32("address")?),
            value: f.u32("value")?,
        })
    }
}

/// HOLD's reply: the cycle stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HoldReply {
    /// What was asked.
    pub echo: HoldRequest,
    /// The levels of the data lines now.
    pub data: Word,
}

impl HoldReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        self.echo.put(out);
        out.extend(self.data.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { echo: HoldRequest::take(f)?, data: f.u32("data")? })
    }
}

/// When the mark line goes active in a repeated cycle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Never.
    None,
    /// With the set-up levels.
    Setup,
    /// With the strobe.
    Strobe,
}

/// REPEAT: one cycle, or an address walk, with a trigger mark for a scope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RepeatRequest {
    /// Its place in the run chain.
    pub id: RunId,
    /// The run before it, as in RUN.
    pub after: u32,
    /// The shape.
    pub shape: ShapeId,
    /// Write cycles.
    pub write: bool,
    /// The first address, and the bits of it that change after every cycle.
    pub address: (WordAddress, u32),
    /// The first value, and the bits of it that change after every cycle.
    pub value: (Word, Word),
    /// Microseconds between two cycles.
    pub gap_us: u32,
    /// Cycles; 0 until STOP.
    pub count: u32,
    /// The mark.
    pub mark: Mark,
}

impl RepeatRequest {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        self.id.put(out);
        out.extend(self.after.to_le_bytes());
        out.extend([self.shape.0, u8::from(self.write)]);
        let (address, address_xor) = self.address;
        let (value, value_xor) = self.value;
        for n in [address.0, address_xor, value, value_xor, self.gap_us, self.count] {
            out.extend(n.to_le_bytes());
        }
        out.push(self.mark as u8);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            id: RunId::take(f)?,
            after: f.u32("after")?,
            shape: ShapeId(f.u8("shape")?),
            write: f.flag("write")?,
            address: (WordAddress(f.u32("address")?), f.u32("address change")?),
            value: (f.u32("value")?, f.u32("value change")?),
            gap_us: f.u32("gap")?,
            count: f.u32("count")?,
            mark: f.code("mark", |mark| {
                [Mark::None, Mark::Setup, Mark::Strobe].get(usize::from(mark)).copied()
            })?,
        })
    }
}

/// REPEAT's reply, when it has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RepeatReply {
    /// Its place in the run chain.
    pub id: RunId,
    /// Why it ended: the numbers of `bus::script::Why`; 0 is good.
    pub status: u8,
    /// Cycles made.
    pub done: u32,
    /// The word of the last cycle.
    pub last: Word,
}

impl RepeatReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        self.id.put(out);
        out.push(self.status);
        out.extend(self.done.to_le_bytes());
        out.extend(self.last.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            id: RunId::take(f)?,
            status: f.u8("status")?,
            done: f.u32("done")?,
            last: f.u32("last")?,
        })
    }
}
