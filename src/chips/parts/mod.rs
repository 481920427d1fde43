//! The identification table: parts by the ids that they answer.

mod build;
mod catalogue;
mod error;
mod identity;
mod part;
mod row;
mod size;
mod source;
#[cfg(test)]
mod tests;

pub use catalogue::Catalogue;
pub use error::{ChipFault, ChipFileError};
pub use identity::Identity;
pub use part::{Bus, Part};
