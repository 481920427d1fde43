//! The shapes that a host has given.

use crate::bus::{Levels, Shape, ShapeId, ShapeRefusal, ShapeTimes};

#[derive(Clone, Copy, Debug)]
struct Slot {
    id: ShapeId,
    asked: Shape,
    used: Shape,
}

/// Shapes by slot, and the idle levels that are held while the rail is on.
#[derive(Debug, Default)]
pub(super) struct ShapeTable {
    slots: Vec<Slot>,
    held: Levels,
}

impl ShapeTable {
    /// How many slots hold a shape.
    pub(super) fn count(&self) -> u8 {
        self.slots.len() as u8
    }

    /// The shape with the times really used.
    pub(super) fn get(&self, id: ShapeId) -> Option<&Shape> {
        self.slots.iter().find(|slot| slot.id == id).map(|slot| &slot.used)
    }

    /// The times given for the same definition before.
    pub(super) fn same(&self, id: ShapeId, asked: &Shape) -> Option<ShapeTimes> {
        let slot = self.slots.iter().find(|slot| slot.id == id && slot.asked == *asked)?;
        Some(slot.used.times)
    }

    /// A shape whose idle levels contradict those of `shape`, which is to go into slot `id`.
    pub(super) fn contradicts(&self, id: ShapeId, shape: &Shape) -> Option<ShapeRefusal> {
        let mut others = self.slots.iter().filter(|slot| slot.id != id);
        let other = others.find(|slot| !slot.asked.idles_with(shape)).map(|slot| slot.id);
        let mask = self.held.mask & shape.idle.mask;
        let held = ((self.held.level ^ shape.idle.level) & mask != 0).then_some(id);
        other.or(held).map(|other| ShapeRefusal::IdleContradicts { other })
    }

    pub(super) fn put(&mut self, id: ShapeId, asked: Shape, times: ShapeTimes) {
        let slot = Slot { id, asked, used: Shape { times, ..asked } };
        match self.slots.iter_mut().find(|slot| slot.id == id) {
            Some(old) => *old = slot,
            None => self.slots.push(slot),
        }
    }

    /// Forgets the shapes; levels held while the rail is on stay.
    pub(super) fn clear(&mut self) {
        self.slots.clear();
    }

    /// Applies the union of the idle levels as the rail rises.
    pub(super) fn hold(&mut self) {
        self.held = self.slots.iter().fold(self.held, |held, slot| held.then(slot.asked.idle));
    }

    /// Lets every control line go as the rail falls.
    pub(super) fn let_go(&mut self) {
        self.held = Levels::default();
    }
}

/// The number that SHAPE's fault carries: which rule in the low byte, which line above.
pub(super) const fn detail(refusal: &ShapeRefusal) -> u32 {
    match *refusal {
        ShapeRefusal::ReadWrites { .. } => 1,
        ShapeRefusal::ReadMovesWriteStrobe { line } => 2 | (line as u32) << 8,
        ShapeRefusal::NoSuchLine { line, .. } => 3 | (line as u32) << 8,
        ShapeRefusal::NoSuchData { last, .. } => 4 | last << 8,
        ShapeRefusal::LevelOutsideMask => 5,
        ShapeRefusal::IdleContradicts { other } => 6 | (other.0 as u32) << 8,
    }
}
