//! What a script runs on.

use super::{LaneRule, Line};
use crate::bus::{Cycles, Shape, ShapeId, Word, WordAddress};
use thiserror::Error;

/// Why a line was not moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum LineRefusal {
    /// The board has no such line.
    #[error("the board has no such line")]
    Missing,
    /// It is not permitted.
    #[error("moving it is not permitted")]
    NotPermitted,
}

/// What a script runs on: cycles, shapes by slot, permissions, and the lines beside the bus.
pub trait Env: Cycles {
    /// The shape in a slot; `None` if it is not defined.
    fn shape(&self, slot: ShapeId) -> Option<Shape>;

    /// Whether writes of the shape in this slot may be partial.
    fn lane_rule(&self, slot: ShapeId) -> LaneRule;

    /// True if the permit covers a write at `address` that is meant for the data lines `lanes`.
    fn may_write(&self, slot: ShapeId, address: WordAddress, lanes: Word) -> bool;

    /// Reads with each data line charged to its bit of `charge` beforehand.
    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word;

    /// Writes with the strobes of some lanes only; asked for where [`LaneRule::Strobes`] holds.
    fn write_lanes(&mut self, shape: &Shape, address: WordAddress, value: Word, lanes: Word);

    /// Sets (active) or clears a line beside the bus.
    fn line(&mut self, line: Line, active: bool) -> Result<(), LineRefusal>;

    /// True if the module's ready line says ready, or there is none.
    fn ready(&mut self) -> bool;

    /// The operation at this byte of the script begins; for a backend that charges for it.
    fn operation(&mut self, _at: u32) {}

    /// False as soon as the rail is gone; asked before every cycle.
    fn powered(&self) -> bool {
        true
    }
}
