//! From the text of a module sheet to [`Sheet`].

mod lanes;
mod pins;
mod selects;
mod space;
mod zone;

use super::keys::SHEET;
use super::section::{At, Section};
use super::source::Source;
use super::{Sheet, SheetError, SheetFault};
use crate::bus::Millivolts;

impl Sheet {
    /// Reads a module sheet; `file` is only named in errors.
    pub fn parse(file: &str, text: &str) -> Result<Self, SheetError> {
        let source = Source { file, text };
        let table = source.table()?;
        let top = Section::top(source, table.get_ref(), &SHEET)?;
        format_of(&top)?;
        let name = top.need("name", top.text("name")?, "the kind of module")?.value;
        let title = value(top.text("title")?).unwrap_or_else(|| name.clone());
        let rail = top.number("rail_mv", 1000..=6000)?;
        let rail = top.need("rail_mv", rail, "the module's supply in millivolts")?.value;
        let lines = top.number("address_lines", 1..=32)?;
        let lines = top.need("address_lines", lines, "how many address lines it has")?.value as u8;
        let (spaces, places) = space::spaces(&top, lines)?;
        selects::check(&top, &spaces, &places)?;
        let zones = zone::zones(&top, &spaces)?;
        let mut sheet = Self {
            name,
            title,
            rail: Millivolts(rail as u16),
            address_lines: lines,
            spaces,
            zones,
            pins: Vec::new(),
            author: value(top.text("author")?),
            revision: value(top.text("revision")?),
            tried_on: value(top.text("tried_on")?),
            text: text.to_owned(),
        };
        sheet.pins = pins::pins(&top, &sheet)?;
        Ok(sheet)
    }
}

/// Refuses any format but 1.
pub(super) fn format_of(top: &Section<'_>) -> Result<(), SheetError> {
    let format = top.number("format", 0..=u32::MAX)?;
    let At { value, line } = top.need("format", format, "format = 1")?;
    if value == 1 {
        return Ok(());
    }
    let (expected, got) = ("1, the format this version reads".to_owned(), value.to_string());
    Err(top.error("format", line, SheetFault::Value { expected, got }))
}

pub(super) fn value<T>(at: Option<At<T>>) -> Option<T> {
    at.map(|at| at.value)
}
