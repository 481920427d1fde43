//! From the text of a module sheet to [`Sheet`].

mod checks;
mod lanes;
mod order;
mod pins;
mod scripts;
mod selects;
mod space;
mod zone;

use super::keys::SHEET;
use super::section::{At, Section};
use super::source::Source;
use super::{Review, Sheet, SheetError};
use crate::bus::Millivolts;

impl Sheet {
    /// Reads a module sheet, or gives the first fault found; `file` is only named in it.
    pub fn parse(file: &str, text: &str) -> Result<Self, SheetError> {
        Self::read(file, text).into_result()
    }

    /// Reads a module sheet and gives every fault and every warning.
    pub fn review(file: &str, text: &str) -> Review<Self> {
        let mut review = Self::read(file, text).sorted();
        review.warnings = review.sheet.as_ref().map(Self::warnings).unwrap_or_default();
        review
    }

    fn read(file: &str, text: &str) -> Review<Self> {
        let source = Source::new(file, text);
        let read = source.table().and_then(|table| {
            let mut top = Section::top(&source, table.get_ref());
            if !format_is_known(&top) {
                return None;
            }
            top.check(&SHEET);
            sheet(&top, text)
        });
        Review::new(source, read)
    }
}

fn sheet(top: &Section<'_>, text: &str) -> Option<Sheet> {
    format_is_there(top);
    let name = value(top.need("name", top.text("name"), "the kind of module"));
    let title = value(top.text("title"));
    let rail = top.number("rail_mv", 1000..=6000);
    let rail = value(top.need("rail_mv", rail, "the module's supply in millivolts"));
    let lines = top.number("address_lines", 1..=32);
    let lines = top.need("address_lines", lines, "how many address lines it has");
    let lines = value(lines).map(|lines| lines as u8);
    let found = space::spaces(top, lines);
    if found.is_whole() {
        selects::check(top, &found);
    }
    let zones = zone::zones(top, &found);
    let checks = checks::checks(top, &found);
    let (author, revision) = (value(top.text("author")), value(top.text("revision")));
    let tried_on = value(top.text("tried_on"));
    let pins = pins::pins(top, &found, &checks, lines);
    let name = name?;
    Some(Sheet {
        title: title.unwrap_or_else(|| name.clone()),
        name,
        rail: Millivolts(rail? as u16),
        address_lines: lines?,
        spaces: found.into_spaces()?,
        zones,
        checks,
        pins,
        author,
        revision,
        tried_on,
        text: text.to_owned(),
    })
}

/// False, and told, for a format that this version cannot read: then nothing else is known of the
/// sheet.
pub(super) fn format_is_known(top: &Section<'_>) -> bool {
    let format = top.number("format", 0..=u32::MAX);
    if let Some(At { value, line }) = format.filter(|format| format.value != 1) {
        top.wrong("format", line, "1, the format this version reads", value.to_string());
        return false;
    }
    true
}

/// Tells if there is no format; [`format_is_known`] has told of a wrong one.
pub(super) fn format_is_there(top: &Section<'_>) {
    top.need::<()>("format", None, "format = 1");
}

pub(super) fn value<T>(at: Option<At<T>>) -> Option<T> {
    at.map(|at| at.value)
}
