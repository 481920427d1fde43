//! The command line: one file per command, text and JSON over the same events.

mod args;
mod bench;
mod context;
mod job;
mod kit;
mod output;
mod ports;
mod progress;
mod sheet;
mod shelf;

use args::{Args, Command};
use clap::Parser;
use context::Context;
use std::ffi::OsString;
use std::process::ExitCode;

/// Runs the command that `args` say; the first is the program's name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(error) => {
            // Help and version are errors to clap, and no errors to the user.
            let code = if error.use_stderr() { 2 } else { 0 };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    let context = Context::new(args.global);
    let code = match args.command {
        Command::Ports => ports::run(&context),
        Command::Capture(options) => job::capture(&context, options),
        Command::Verify(options) => job::verify(&context, options),
        Command::Shelf(command) => shelf::run(&context, command),
        Command::Sheet(command) => sheet::run(&command),
        Command::Bench(options) => bench::run(&options),
        Command::Kit(options) => kit::run(&options),
    };
    ExitCode::from(code)
}
