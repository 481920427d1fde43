//! The simulated bench: a module, the adapter on the real wire, and the line between it and the
//! host. Sans-IO: time is an argument, one clock of nanoseconds for everything.
//!
//! An independent witness of the wire text: it uses [`crate::wire`] and [`crate::bus`] and nothing
//! else of the host. It enforces the rules and keeps books of those that were broken.

mod adapter;
mod bench;
mod books;
mod bridge;
mod chips;
mod config;
mod contents;
mod costs;
mod description;
mod event;
mod faulty;
mod mangler;
mod memory;
mod module;
mod rail;
mod socket;
#[cfg(test)]
mod tests;
mod transmitter;

pub use adapter::Adapter;
pub use bench::Bench;
pub use books::{Books, HostViolation, ModuleBooks, ModuleViolation, RailEntry, RailWhy, RunEntry};
pub use chips::{
    Chip, ChipBooks, ChipConfig, ChipFaults, ChipPace, ChipState, ChipTime, ChipType,
    ChipViolation, Family, Locks, StuckBit, Wear,
};
pub use config::{ActiveLine, AdapterConfig, RailModel};
pub use description::{BenchDescription, BenchError, LineConfig, MemoryFill, Pace};
pub use event::Event;
pub use faulty::{Faulty, Line, LineFault, Trouble};
pub use mangler::{FrameFault, FrameFaults, Mangler};
pub use memory::{MemoryConfig, MemoryKind};
pub use module::{Module, ModuleConfig};
pub use socket::{Drive, Socket};
pub use transmitter::Sent;
