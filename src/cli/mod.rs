//! The command line: one file per command, text and JSON over the same events.

mod advised;
mod args;
mod bench;
mod context;
mod job;
mod kit;
mod output;
mod plain;
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
    let args: Vec<OsString> = args.into_iter().collect();
    // Also where the rest makes no sense, it counts who is to be told.
    let json = args.iter().take_while(|arg| *arg != "--").any(|arg| arg == "--json");
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(error) => return Next::Done(ExitCode::from(Output::end(no_command(&error, json)))),
    };
    let context = Context::new(args.global);
    let Some(command) = args.command else { return workbench(&context) };
    let code = match command {
        Command::Ports => ports::run(&context),
        Command::Identify(options) => job::identify(&context, options),
        Command::Capture(options) => job::capture(&context, options),
        Command::Verify(options) => job::verify(&context, options),
        Command::Write(options) => job::write(&context, options),
        Command::Resume => job::resume(&context),
        Command::Erase(options) => job::erase(&context, options),
        Command::Plan(options) => job::plan(&context, options),
        Command::Shelf(command) => shelf::run(&context, command),
        Command::Sheet(command) => sheet::run(&context, &command),
        Command::Bench(options) => bench::run(&context, &options),
        Command::Kit(options) => kit::run(&context, &options),
    };
    Next::Done(ExitCode::from(Output::end(code)))
}

/// The workbench with what the options say; without a port it opens with the choice of one.
fn workbench(context: &Context) -> Next {
    let port = match &context.global.port {
        None => context.port(&context.known()).ok(),
        Some(text) => match text.parse() {
            Ok(port) => Some(port),
            Err(error) => {
                let error: crate::app::PortNameError = error;
                return Next::Done(ExitCode::from(Output::end(Output::fail(
                    2,
                    &error.to_string(),
                ))));
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

/// Help and version, which are errors to clap and no errors to the user; or what is wrong.
fn no_command(error: &clap::Error, json: bool) -> u8 {
    if !error.use_stderr() {
        Output::written(error.print());
        return 0;
    }
    let text = error.render().to_string();
    let text = text.trim_end();
    if json {
        Output::new(true, false);
        return Output::fail(2, text.strip_prefix("error: ").unwrap_or(text));
    }
    Output::always(text);
    2
}
