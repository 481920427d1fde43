//! SHAPE: how a bus cycle looks.

use super::field::{Fields, Malformed};
use super::hello::{put_times, take_times};
use crate::bus::{Levels, Phases, Shape, ShapeId, ShapeTimes, Width};

/// SHAPE: keep this shape in that slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShapeRequest {
    /// The slot.
    pub id: ShapeId,
    /// The shape.
    pub shape: Shape,
}

impl ShapeRequest {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        let shape = &self.shape;
        out.push(self.id.0);
        out.push(shape.width.bytes() as u8);
        out.push(shape.first_line);
        out.push(u8::from(shape.write.is_some()));
        put_levels(shape.idle, out);
        put_levels(shape.read.setup, out);
        put_levels(shape.read.strobe, out);
        let write = shape.write.unwrap_or_default();
        put_levels(write.setup, out);
        put_levels(write.strobe, out);
        put_times(&shape.times, out);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let id = ShapeId(f.u8("id")?);
        let width = f.code("width", |bytes| Width::from_bits(u32::from(bytes) * 8))?;
        let first_line = f.u8("first data line")?;
        let writes = f.flag("writes")?;
        let idle = take_levels(f, "idle")?;
        let read = take_phases(f, "read")?;
        let write = take_phases(f, "write")?;
        let times = take_times(f)?;
        let write = writes.then_some(write);
        Ok(Self { id, shape: Shape { width, first_line, idle, read, write, times } })
    }
}

fn put_levels(levels: Levels, out: &mut Vec<u8>) {
    out.extend(levels.mask.to_le_bytes());
    out.extend(levels.level.to_le_bytes());
}

fn take_levels(f: &mut Fields, field: &'static str) -> Result<Levels, Malformed> {
    Ok(Levels { mask: f.u16(field)?, level: f.u16(field)? })
}

fn take_phases(f: &mut Fields, field: &'static str) -> Result<Phases, Malformed> {
    Ok(Phases { setup: take_levels(f, field)?, strobe: take_levels(f, field)? })
}

/// SHAPE's reply: the times that the adapter really makes, never shorter than asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShapeReply {
    /// The slot.
    pub id: ShapeId,
    /// The times used.
    pub used: ShapeTimes,
}

impl ShapeReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.id.0);
        put_times(&self.used, out);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { id: ShapeId(f.u8("id")?), used: take_times(f)? })
    }
}
