//! What stands behind the workbench: a thread that owns port, timers and jobs.
//!
//! It never waits for the screen. Progress is a [`Snapshot`] that the core folds and the screen
//! copies; what must not be missed (log lines, answers) waits in a queue of bounded length. Orders
//! come through a channel, with a call for the core's attention.

mod by_hand;
mod core;
mod facts;
mod fold;
mod handle;
mod map;
mod on_shelf;
mod open;
mod pace;
mod paced_sim;
mod pass;
mod places;
mod planned;
mod running;
mod snapshot;
#[cfg(test)]
mod tests;
mod work;
#[cfg(test)]
mod write_tests;
mod writing;

pub(crate) use super::image::BACK;
pub use crate::jobs::{Answer, BLANK, Order};
pub(crate) use crate::shelf::Action;
pub use crate::wire::LineLevels;
pub use core::{Places, Setup, start};
#[cfg(test)]
pub use facts::facts as sheet_facts;
pub use handle::{Command, Ender, Handle, Item, Line, Tone};
pub use map::{Image, Mark, Part, SpaceMap};
pub use places::{
    ListLine, image_error, image_lines, label_error, port_lines, range_error, sheet_error,
};
#[cfg(test)]
pub use planned::PlannedPart;
pub use planned::{PlanFacts, Progressed, UnfinishedWrite, WriteEnd};
pub use running::{Elsewhere, Watch};
pub use snapshot::{
    AdapterFacts, ChipFacts, Doing, Leave, Phase, Progress, Rail, SheetFacts, Snapshot, SpaceFacts,
};
