//! The transfer core: what is done with a module, step by step, over the link and onto the shelf.
//!
//! A job is an asynchronous function over a [`Desk`]; it tells what happens as [`Event`]s and ends
//! in a report or a [`JobError`]. [`run`] turns either, or a panic, into the one final event.

mod arrival;
mod blocks;
mod capture;
mod cycles;
mod desk;
mod equal;
mod error;
mod event;
mod identify;
mod plan;
mod power;
mod reading;
mod reread;
mod runner;
mod runs;
mod verify;
mod word;
mod write;
mod write_switch;

pub use arrival::Arrival;
pub use capture::{CaptureReport, CaptureRequest, begin, capture};
pub use cycles::{Answer, CycleReport, Next, Order, cycles, sample_lines};
pub use desk::Desk;
pub use equal::{Sums, equal_copies, sums};
pub use error::{Ending, JobError};
pub use event::{BlockState, Event, Outcome, View};
pub use identify::{
    ChipReport, IdentifyReport, IdentifyRequest, Keep, MIXED, SpaceReport, Twin, identify, whole,
};
pub use plan::{
    Computed, Draft, Flash, Line, PlanReport, SectorLock, SectorNow, SpacePlan, compute, is_kept,
    missed, other_order, wanted, ways,
};
use power::power_cycle;
pub use power::{Powered, check_fit, with_rail, with_rail_told};
pub use runner::run;
#[cfg(test)]
pub use runs::Runs;
pub use verify::{BLANK, KeptDiffers, KeptZone, VerifyPart, VerifyReport, verify};
pub use write::{CHECKS_AFTER, CHECKS_BEFORE, WRITES, WriteReport, WriteRequest};
pub(crate) use write::{Desktop, Place as WritePlace, write};
pub(crate) use write_switch::{caution_locked, refuse_locked};
