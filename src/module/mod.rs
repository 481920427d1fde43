//! Module sheets, adapter sheets, and what the two together mean on a board.
//!
//! A module sheet says what a kind of module is: its spaces, zones and pins. An adapter sheet
//! says which connector pin each adapter line leads to. Both are text that people write and
//! share, so every error names file, line and key and what to do. [`plan_access`] turns a sheet
//! into the shapes that reach each space.

mod adapter;
mod board;
mod builtin;
mod fault;
mod fit;
mod fit_error;
mod idle;
mod keys;
mod line;
mod parse;
mod range;
mod section;
mod sheet;
mod source;
#[cfg(test)]
mod tests;
mod wiring;

pub use crate::chips::Family;
pub use adapter::AdapterSheet;
pub use board::{Board, ControlLine};
pub use builtin::{builtin, builtin_names};
pub use fault::{SheetError, SheetFault};
pub use fit::{SpaceAccess, plan_access};
pub use fit_error::FitError;
pub use line::{Level, LineLevel, LineName};
pub use range::{RangeError, parse_range};
pub use sheet::{Chip, Kind, Pin, Sheet, Space, Timing, Zone};
use source::shown;
