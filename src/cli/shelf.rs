//! `shelf`: captures and their records.

use super::args::ShelfCommand;
use super::context::Context;
use super::output::Output;
use crate::app::{JobError, ShelfDesk};

/// Runs `shelf`.
pub fn run(context: &Context, command: ShelfCommand) -> u8 {
    let desk = match ShelfDesk::open(&context.shelf(), context.global.specimen.as_deref()) {
        Ok(desk) => desk,
        Err(error) => return failed(context, &error),
    };
    let answer = match command {
        ShelfCommand::List => desk.list(),
        ShelfCommand::Show { id } => desk.show(&id),
        ShelfCommand::Note { id, text } => desk.note(&id, &text),
        ShelfCommand::Started { label, answer, text } => {
            desk.started(&label, answer == "yes", &text)
        }
        ShelfCommand::Check { id } => desk.check(id.as_deref()),
        ShelfCommand::Export { id, file } => desk.export(&id, &file),
    };
    match answer {
        Ok(mut answer) => {
            for trouble in &mut answer.troubles {
                *trouble = context.advised.text(trouble).into_owned();
            }
            context.output.answer(Ok(answer))
        }
        Err(error) => failed(context, &error),
    }
}

fn failed(context: &Context, error: &JobError) -> u8 {
    Output::fail(error.code(), &context.advised.text(&error.to_string()))
}
