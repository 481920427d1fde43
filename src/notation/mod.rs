//! TOML texts into values, with the place of every fault: one reader for all formats.
//!
//! The parser is that of the `toml` crate. Its deserializer, however, is compiled anew, with much
//! code, for every type that is read; this one borrows the parsed tree and is a third of that
//! (measured: half a megabyte of the program file).

mod fault;
mod node;
#[cfg(test)]
mod tests;

pub use fault::ReadFault;

use node::Node;
use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Reads `text` as a `T`; the first fault names its place.
pub fn read<T: DeserializeOwned>(text: &str) -> Result<T, ReadFault> {
    let root = DeTable::parse(text).map_err(|error| ReadFault::of_parser(&error))?;
    let span = root.span();
    let root = Spanned::new(span, DeValue::Table(root.into_inner()));
    T::deserialize(Node(&root))
}
