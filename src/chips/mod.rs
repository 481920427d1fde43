//! Chip knowledge: query tables, the identification table, command families.
//!
//! Nothing here reaches a bus. [`Cfi`] reads a chip's own description, [`Catalogue`] knows parts
//! by their ids, [`settle`] brings both together, and [`Family`] holds the commands as data.

#![allow(clippy::doc_markdown, reason = "part numbers are words here")]

pub mod ask;
#[cfg_attr(
    not(test),
    expect(dead_code, unused_imports, reason = "a table is decoded whole, and tested whole")
)]
pub mod cfi;
#[cfg_attr(not(test), expect(dead_code, reason = "facts of a family are kept whole"))]
pub mod family;
mod finding;
mod geometry;
mod maker;
pub mod parts;
pub mod recognise;
mod settle;
#[cfg(test)]
mod settle_tests;
mod shown;
mod way;
mod window;
mod wiring;
#[cfg_attr(
    not(test),
    expect(dead_code, reason = "erasing many sectors or a chip exists, and no plan uses it")
)]
pub mod write;

pub use ask::{Asking, ID_WORDS};
pub use cfi::{Cfi, CfiError};
pub use family::{BusMode, Family, Unlock};
pub use finding::{Finding, QUERY_FIRST};
pub use geometry::{Boot, Doubt, Geometry, OrderDoubt, Region, Size};
pub use maker::MakerId;
pub use parts::{Catalogue, Identity};
pub use recognise::{Act, Recogniser, Verdict};
pub use settle::settle;
pub use way::Way;
pub use window::Window;
pub use wiring::Wiring;
pub use write::{Abilities, LockKind, ScriptKind, Writing};
