//! Plan: what a write will do with each sector, computed from a copy of the module, an image and
//! what the chips allow. Nothing here reaches the module.

mod blank;
mod compute;
mod found;
mod order;
mod report;
mod sectors;
mod target;
#[cfg(test)]
mod tests;
mod times;
mod ways;

pub use compute::{Computed, Draft, Flash, Missed, compute};
pub use found::ways;
pub use order::other_order;
pub use report::{PlanReport, SpacePlan, missed};
pub use target::{is_kept, wanted};
pub use times::Line;
pub use ways::{Pace, SectorLock, SectorNow, Unit, Ways};
