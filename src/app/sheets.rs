//! Finding the sheets that a job needs, and what a job must refuse of them.

use super::input::read_text;
use crate::image::{SHEET, one_line};
use crate::jobs::JobError;
use crate::module::{AdapterSheet, Review, Sheet, Space, builtin, builtin_names};
use std::path::Path;

/// The board name of a simulated bench starts with this and goes on with its sheet.
const BENCH: &str = "bench:";

/// The sheet that a bench's board name selects.
pub(super) fn bench_sheet(board: &str) -> Option<&str> {
    board.strip_prefix(BENCH)
}

/// True if a module sheet of this name is built in.
pub(crate) fn is_builtin_sheet(name: &str) -> bool {
    builtin(name).is_some()
}

/// Loads a module sheet by built-in name or from a file.
pub(super) fn load_sheet(wanted: &str) -> Result<Sheet, JobError> {
    first_fault(review_sheet(wanted)?, "sheet check")
}

/// Loads an adapter sheet from a file.
pub(super) fn load_adapter_sheet(file: &str) -> Result<AdapterSheet, JobError> {
    let review = review_adapter_sheet(file)?;
    if review.sheet.is_none() && is_module_sheet(file) {
        return Err(JobError::Usage(format!(
            "adapter sheet {}: this is a module sheet, it has [[space]] tables; name it with \
             {SHEET}, and with --adapter the sheet of the adapter",
            one_line(file)
        )));
    }
    first_fault(review, "sheet check --as-adapter")
}

/// Reads a module sheet by built-in name or from a file, with all its faults.
pub(super) fn review_sheet(wanted: &str) -> Result<Review<Sheet>, JobError> {
    if let Some(text) = builtin(wanted) {
        return Ok(Sheet::review(&format!("built-in sheet {wanted}"), text));
    }
    Ok(Sheet::review(&one_line(wanted), &read(wanted, "module sheet", &which_are_built_in())?))
}

/// Reads an adapter sheet from a file, with all its faults.
pub(super) fn review_adapter_sheet(file: &str) -> Result<Review<AdapterSheet>, JobError> {
    if builtin(file).is_some() && !Path::new(file).exists() {
        return Err(JobError::Usage(format!(
            "adapter sheet {file}: this is the name of a built-in module sheet; a module sheet is \
             named with {SHEET}, an adapter sheet is a file"
        )));
    }
    Ok(AdapterSheet::review(&one_line(file), &read(file, "adapter sheet", "none is built in")?))
}

/// True if a file is a module sheet: it has spaces, which no adapter sheet has.
fn is_module_sheet(file: &str) -> bool {
    let text = read_text(Path::new(file)).unwrap_or_default();
    text.lines().any(|line| line.trim() == "[[space]]")
}

/// A job tells of one fault; `sheet check` tells of all.
fn first_fault<T>(review: Review<T>, check: &str) -> Result<T, JobError> {
    let more = review.faults.len().saturating_sub(1) + review.more;
    match (review.sheet, review.faults.first()) {
        (Some(sheet), _) => Ok(sheet),
        (None, Some(fault)) if more > 0 => Err(JobError::Usage(format!(
            "{fault} (and {more} more: `buswright {check}` names them)"
        ))),
        (None, fault) => Err(JobError::Usage(fault.map(ToString::to_string).unwrap_or_default())),
    }
}

/// The names of the built-in module sheets.
pub(crate) fn sheet_names() -> impl Iterator<Item = &'static str> {
    builtin_names()
}

/// What can be named without a file.
pub(super) fn which_are_built_in() -> String {
    let names: Vec<_> = builtin_names().collect();
    format!("built in are {}", names.join(", "))
}

fn read(file: &str, what: &str, built_in: &str) -> Result<String, JobError> {
    read_text(Path::new(file))
        .map_err(|error| JobError::Usage(format!("{what} {error} ({built_in})")))
}

/// Refuses a sheet with checks that this version cannot make before the rail goes on.
pub(super) fn refuse_unchecked(sheet: &Sheet) -> Result<(), JobError> {
    sheet.not_yet().map_or(Ok(()), |why| Err(JobError::Safety(why)))
}

/// Refuses a module with words that identification, which reads and asks all over a space, must
/// not touch or cannot reach.
pub(super) fn refuse_to_identify(sheet: &Sheet) -> Result<(), JobError> {
    for (index, space) in sheet.spaces.iter().enumerate() {
        refuse_unopened(space)?;
        if let Some(zone) = sheet.kept_off(index, space.base, space.words) {
            return Err(JobError::Safety(format!(
                "zone {} of {} is never to be touched (keep_off), and looking for chips reads and \
                 asks all over a space: this version does not identify such a module",
                zone.name, space.name
            )));
        }
    }
    Ok(())
}

/// Refuses to work on a space whose scripts this version cannot run.
pub(super) fn refuse_unopened(space: &Space) -> Result<(), JobError> {
    space.not_yet().map_or(Ok(()), |why| Err(JobError::Safety(why)))
}
