//! Buswright: reads plug-in memory modules to agreement, keeps the copies with their record and
//! writes them back, through a home-built adapter on a serial line.
//!
//! The public face is [`bus`], [`wire`], [`link`], [`sim`] and [`app`]; everything else serves
//! those. `docs/architecture.md` tells which floor may use which.

pub mod app;
pub mod bus;
pub(crate) mod chips;
pub(crate) mod cli;
pub(crate) mod image;
pub(crate) mod jobs;
pub(crate) mod kit;
pub mod link;
pub(crate) mod module;
pub(crate) mod shelf;
pub mod sim;
pub mod wire;

pub use cli::run;
