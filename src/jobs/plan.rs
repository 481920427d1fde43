//! Plan: what a write will do with each sector, computed from a copy of the module, an image and
//! what the chips allow. Nothing here reaches the module.

mod blank;
mod compute;
mod sectors;
mod target;
#[cfg(test)]
mod tests;
mod times;
mod ways;

pub use compute::{Computed, Draft, Flash, Missed, compute};
pub use target::is_kept;
pub use times::Line;
pub use ways::{Pace, SectorLock, SectorNow, Unit, Ways};
