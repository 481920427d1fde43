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

    /// Checks `shape`, which is to go into slot `id`, beside the others and what is held.
    pub(super) fn check_beside(&self, id: ShapeId, shape: &Shape) -> Result<(), ShapeRefusal> {
        let others = self.slots.iter().filter(|slot| slot.id != id);
        shape.check_beside(id, self.held, others.map(|slot| (slot.id, &slot.asked)))
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
