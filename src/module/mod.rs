//! Module sheets, adapter sheets, and what the two together mean on a board.
//!
//! A module sheet says what a kind of module is: its spaces, zones and pins. An adapter sheet
//! says which connector pin each adapter line leads to. Both are text that people write and
//! share, so every error names file, line and key and what to do. [`plan_access`] turns a sheet
//! into the shapes that reach each space.

mod adapter;
mod board;
mod builtin;
mod chip;
mod fault;
mod fit;
mod fit_error;
mod fit_report;
mod honour;
mod idle;
mod keys;
mod line;
mod parse;
mod range;
mod review;
mod section;
mod sheet;
mod source;
mod template;
#[cfg(test)]
mod tests;
mod warnings;
mod wiring;
mod zone;

pub use crate::chips::Family;
pub use adapter::AdapterSheet;
pub use board::{Board, ControlLine};
pub use builtin::{builtin, builtin_names};
pub use chip::Chip;
pub use fault::{SheetError, SheetFault};
pub use fit::{NoWrite, SpaceAccess, plan_access};
pub use fit_error::FitError;
pub use fit_report::{FitReport, LineFit, fit_report};
pub use line::{Level, LineLevel, LineName};
pub use range::{RangeError, parse_range};
pub use review::Review;
pub use sheet::{Kind, LineCheck, Pin, Pull, Sheet, Space, Timing};

use source::shown;
pub use template::new_sheet;
pub use zone::Zone;
