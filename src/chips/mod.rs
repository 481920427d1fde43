//! Chip knowledge: query tables, the identification table, command families.
//!
//! Nothing here reaches a bus. [`Cfi`] reads a chip's own description, [`Catalogue`] knows parts
//! by their ids, [`settle`] brings both together, and [`Family`] holds the commands as data.

#![allow(clippy::doc_markdown, reason = "part numbers are words here")]
#![cfg_attr(
    not(test),
    expect(
        dead_code,
        unused_imports,
        reason = "`write` and `recognise` wait for the jobs that use them"
    )
)]

pub mod ask;
pub mod cfi;
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
mod wiring;
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
pub use wiring::Wiring;
pub use write::{Abilities, LockKind, ScriptKind, Step, WhyNot, Writing};
