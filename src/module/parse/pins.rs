//! Reads `[pins]`.

use super::space::Spaces;
use crate::module::section::Section;
use crate::module::source::shown;
use crate::module::{LineCheck, LineName, Pin, SheetFault};
use std::collections::BTreeMap;

/// The pins, each with a line that the rest of the sheet knows.
pub(super) fn pins(
    top: &Section<'_>,
    spaces: &Spaces,
    checks: &[LineCheck],
    lines: Option<u8>,
) -> Vec<Pin> {
    let Some(table) = top.open_table("pins") else { return Vec::new() };
    let mut control = spaces.control_lines();
    control.extend(checks.iter().map(|check| check.line.as_str()));
    // Of a sheet with faults elsewhere not all control lines are known.
    let all_known = top.source.count() == 0;
    let mut seen: BTreeMap<String, (&str, usize)> = BTreeMap::new();
    let mut pins = Vec::new();
    for (pin, line, value) in table.entries() {
        if table.as_text(pin, line, &toml::de::DeValue::String(pin.into())).is_none() {
            continue;
        }
        if let Some((name, first)) = seen.insert(pin.to_ascii_uppercase(), (pin, line)) {
            table.tell(pin, line, SheetFault::Duplicate { name: name.to_owned(), first });
        }
        let Some(text) = table.as_text(pin, line, value) else { continue };
        let name = LineName::parse(&text).filter(|name| match name {
            LineName::Address(n) => lines.is_none_or(|lines| *n < lines),
            LineName::Control(name) => !all_known || control.contains(name.as_str()),
            _ => true,
        });
        let Some(name) = name else {
            let listed: Vec<_> = control.iter().copied().collect();
            let expected = format!(
                "D0-D31, A0-A{}, GND, VCC, NC, ? or a control line of a select, strobe or check \
                 ({})",
                lines.map_or(31, |lines| lines - 1),
                listed.join(", ")
            );
            let closest = listed.into_iter().find(|one| one.eq_ignore_ascii_case(&text));
            let closest = closest.map(str::to_owned);
            let fault = SheetFault::NoSuchName { expected, got: shown(&text), closest };
            table.tell(pin, line, fault);
            continue;
        };
        pins.push(Pin { pin: pin.to_owned(), line: name });
    }
    pins
}
