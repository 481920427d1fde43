//! The command line: one file per command, text and JSON over the same events.

mod args;
mod bench;
mod context;
mod job;
mod output;
mod ports;
mod progress;
mod sheet;
mod shelf;

use crate::app::workbench::Setup;
use args::{Args, Command};
use clap::Parser;
use context::Context;
use output::Output;
use std::ffi::OsString;
use std::process::ExitCode;

/// What comes after the command line was read.
pub enum Next {
    /// Nothing: the command is done.
    Done(ExitCode),
    /// No command was named: the workbench.
    Workbench(Box<Setup>),
}

/// Runs the command that `args` say; the first is the program's name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> Next {
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(error) => {
            // Help and version are errors to clap, and no errors to the user.
            let code = if error.use_stderr() { 2 } else { 0 };
            let _ = error.print();
            return Next::Done(ExitCode::from(code));
        }
    };
    let context = Context::new(args.global);
    let Some(command) = args.command else { return workbench(&context) };
    let code = match command {
        Command::Ports => ports::run(&context),
        Command::Capture(options) => job::capture(&context, options),
        Command::Verify(options) => job::verify(&context, options),
        Command::Shelf(command) => shelf::run(&context, command),
        Command::Sheet(command) => sheet::run(&command),
        Command::Bench(options) => bench::run(&options),
    };
    Next::Done(ExitCode::from(code))
}

/// The workbench with what the options say; without a port it opens with the choice of one.
fn workbench(context: &Context) -> Next {
    let port = match &context.global.port {
        None => context.port(&context.known()).ok(),
        Some(text) => match text.parse() {
            Ok(port) => Some(port),
            Err(error) => {
                let error: crate::app::PortNameError = error;
                return Next::Done(ExitCode::from(Output::fail(2, &error.to_string())));
            }
        },
    };
    Next::Workbench(Box::new(Setup {
        places: context.places(),
        port,
        wanted: context.wanted(),
        theme: context.global.theme.clone(),
        mono: context.global.mono,
    }))
}
