//! Simulated flash chips: datasheets as state machines, with books and faults.
//!
//! Nothing here knows how the host drives a chip; codes and CFI bytes are data in `types/`.

mod amd;
mod bank;
mod books;
mod cells;
mod chip;
mod core;
mod family;
mod faults;
mod intel;
mod jedec;
mod kind;
mod page;
#[cfg(test)]
mod tests;
mod work;

pub(super) use bank::Bank;
pub use books::{ChipBooks, ChipViolation};
pub use chip::{Chip, ChipConfig};
pub use family::ChipState;
pub use faults::{ChipFaults, ChipPace, StuckBit, Wear};
pub use kind::{ChipTime, ChipType, Family, Locks};
