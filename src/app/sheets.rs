//! Finding the sheets that a job needs.

use super::input::read_text;
use crate::image::counted;
use crate::jobs::JobError;
use crate::module::{AdapterSheet, Sheet, builtin, builtin_names};
use std::fmt::Write;
use std::path::Path;

/// The board name of a simulated bench starts with this and goes on with its sheet.
const BENCH: &str = "bench:";

/// The sheet that a bench's board name selects.
pub(super) fn bench_sheet(board: &str) -> Option<&str> {
    board.strip_prefix(BENCH)
}

/// Loads a module sheet by built-in name or from a file.
pub fn load_sheet(wanted: &str) -> Result<Sheet, JobError> {
    let (file, text) = match builtin(wanted) {
        Some(text) => (format!("built-in sheet {wanted}"), text.to_string()),
        None => (wanted.to_string(), read(wanted, "module sheet", &which_are_built_in())?),
    };
    Sheet::parse(&file, &text).map_err(|error| JobError::Usage(error.to_string()))
}

/// Loads an adapter sheet from a file.
pub fn load_adapter_sheet(file: &str) -> Result<AdapterSheet, JobError> {
    let text = read(file, "adapter sheet", "none is built in")?;
    AdapterSheet::parse(file, &text).map_err(|error| JobError::Usage(error.to_string()))
}

fn read(file: &str, what: &str, built_in: &str) -> Result<String, JobError> {
    read_text(Path::new(file))
        .map_err(|error| JobError::Usage(format!("{what} {error} ({built_in})")))
}

/// The names of the built-in sheets, in words.
pub(super) fn which_are_built_in() -> String {
    let names: Vec<_> = builtin_names().collect();
    format!("built in are {}", names.join(", "))
}

/// The names of the built-in module sheets.
pub fn sheet_names() -> impl Iterator<Item = &'static str> {
    builtin_names()
}

/// Checks a module sheet and says in a few lines what it describes.
pub fn describe_sheet(wanted: &str) -> Result<String, String> {
    let sheet = load_sheet(wanted).map_err(|error| error.to_string())?;
    let mut text = format!("{}: good. {}, rail {}", wanted, sheet.title, sheet.rail);
    for space in &sheet.spaces {
        let chips: Vec<_> =
            space.chips.iter().map(|chip| format!("{} {}", chip.reference, chip.lane)).collect();
        let bytes = u64::from(space.words) * space.width.bytes() as u64;
        let _ = write!(
            text,
            "\n  {} ({}, {} bits): words {}+0x{:X}, {}; {}",
            space.name,
            space.kind.word(),
            space.width.bits(),
            space.base,
            space.words,
            humansize::format_size(bytes, humansize::BINARY),
            chips.join(", ")
        );
    }
    for zone in (0..sheet.spaces.len()).flat_map(|space| sheet.zones_of(space)) {
        let keep = if zone.keep { ", kept" } else { "" };
        let _ =
            write!(text, "\n  zone {} at word {}+0x{:X}{keep}", zone.name, zone.start, zone.words);
    }
    Ok(text)
}

/// Checks an adapter sheet and says in a line what it describes.
pub fn describe_adapter_sheet(file: &str) -> Result<String, String> {
    let sheet = load_adapter_sheet(file).map_err(|error| error.to_string())?;
    Ok(format!("{file}: good. {}, {}", sheet.name, counted(sheet.lines.len() as u64, "line")))
}
