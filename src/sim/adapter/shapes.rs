//! The shapes that a host has given.

use crate::bus::{Levels, Shape, ShapeId, ShapeRefusal, ShapeTimes};

/// True if `levels` have every line that `strobe` changes from `idle` as `strobe` has it.
fn active(idle: Levels, strobe: Levels, levels: Levels) -> bool {
    let changed = (strobe.level ^ idle.level) | (strobe.mask & !idle.mask);
    levels.shows(Levels { mask: changed, level: strobe.level & changed })
}

/// True if these levels are a write strobe of the shape.
pub(super) fn strobes_write(shape: &Shape, idle: Levels, levels: Levels) -> bool {
    let idle = idle.then(shape.idle);
    shape.write.is_some_and(|write| active(idle, idle.then(write.setup).then(write.strobe), levels))
}

/// True if with these levels what the shape reads drives the data lines.
pub(super) fn enables_output(shape: &Shape, idle: Levels, levels: Levels) -> bool {
    let idle = idle.then(shape.idle);
    active(idle, idle.then(shape.read.setup).then(shape.read.strobe), levels)
}

/// The control lines that a phase of the shape names.
pub(super) fn named_lines(shape: &Shape) -> u16 {
    let write = shape.write.unwrap_or_default();
    let phases = [shape.read.setup, shape.read.strobe, write.setup, write.strobe];
    phases.iter().fold(shape.idle.mask, |named, levels| named | levels.mask)
}

#[derive(Clone, Copy, Debug)]
struct Slot {
    id: ShapeId,
    asked: Shape,
    used: Shape,
}

/// Shapes by slot, and the idle levels that are held while the rail is on.
#[derive(Clone, Debug, Default)]
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

    /// Every shape with its slot.
    pub(super) fn all(&self) -> impl Iterator<Item = (ShapeId, &Shape)> {
        self.slots.iter().map(|slot| (slot.id, &slot.used))
    }

    /// The idle levels that are held now.
    pub(super) fn held(&self) -> Levels {
        self.held
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
