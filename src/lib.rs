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
pub(crate) mod notation;
pub(crate) mod shelf;
pub mod sim;
pub(crate) mod tui;
pub mod wire;

use std::ffi::OsString;
use std::process::ExitCode;

/// Runs the command that `args` say, or the workbench if they say none; the first is the program's
/// name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    app::outlive_file_limits();
    match cli::run(args) {
        cli::Next::Done(code) => code,
        cli::Next::Workbench(setup) => ExitCode::from(tui::run(*setup)),
    }
}
