//! `sheet`: are these sheets good, and which are built in?

use super::args::SheetCommand;
use super::output::Output;
use crate::app::{describe_adapter_sheet, describe_sheet, sheet_names};

/// Runs `sheet`.
pub fn run(command: &SheetCommand) -> u8 {
    match command {
        SheetCommand::List => {
            sheet_names().for_each(Output::line);
            0
        }
        SheetCommand::Check { files, as_adapter } => {
            let mut code = 0;
            for file in files {
                let described =
                    if *as_adapter { describe_adapter_sheet(file) } else { describe_sheet(file) };
                match described {
                    Ok(text) => Output::line(&text),
                    Err(text) => code = Output::fail(2, &text),
                }
            }
            code
        }
    }
}
