//! `sheet`: which there are, whether they are good, a new one, and whether one fits an adapter.

use super::args::SheetCommand;
use super::context::Context;
use crate::app::{check_sheets, fit_sheet, list_sheets, write_new_sheet};

/// Runs `sheet`.
pub fn run(context: &Context, command: &SheetCommand) -> u8 {
    let answer = match command {
        SheetCommand::List => Ok(list_sheets(&context.sheets())),
        SheetCommand::Check { files, as_adapter } => {
            let files: Vec<_> = files.iter().map(|file| context.own_sheet(file)).collect();
            Ok(check_sheets(&files, *as_adapter))
        }
        SheetCommand::New { name, out } => write_new_sheet(name, out.as_deref()),
        SheetCommand::Fit { module } => {
            fit_sheet(&context.own_sheet(module), context.adapter().as_deref())
        }
    };
    context.output.answer(answer)
}
