//! Chip knowledge: query tables, the identification table, command families.
//!
//! Nothing here reaches a bus. [`Cfi`] reads a chip's own description, [`Catalogue`] knows parts
//! by their ids, [`settle`] brings both together, and [`Family`] holds the commands as data.

#![allow(clippy::doc_markdown, reason = "part numbers are words here")]
#![cfg_attr(
    not(test),
    expect(dead_code, unused_imports, reason = "the scripts that fetch ids and tables use it")
)]

pub mod cfi;
pub mod family;
mod geometry;
mod maker;
pub mod parts;
mod settle;
#[cfg(test)]
mod settle_tests;
mod shown;

pub use cfi::{Cfi, CfiError};
pub use family::{Family, Unlock};
pub use geometry::{Boot, Doubt, Geometry, OrderDoubt, Region, Size};
pub use maker::MakerId;
pub use parts::{Catalogue, Identity};
pub use settle::settle;
