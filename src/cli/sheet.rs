//! `sheet`: are these sheets good, and which are built in?

use super::args::SheetCommand;
use super::context::Context;
use crate::app::{describe_adapter_sheet, describe_sheet, sheet_names};

/// Runs `sheet`.
pub fn run(context: &Context, command: &SheetCommand) -> u8 {
    let output = context.output;
    match command {
        SheetCommand::List => {
            sheet_names().for_each(|name| output.line(name));
            0
        }
        SheetCommand::Check { files, as_adapter } => {
            let mut code = 0;
            for file in files {
                let described =
                    if *as_adapter { describe_adapter_sheet(file) } else { describe_sheet(file) };
                match described {
                    Ok(text) => output.line(&text),
                    Err(text) => code = output.fail(2, &text),
                }
            }
            code
        }
    }
}
