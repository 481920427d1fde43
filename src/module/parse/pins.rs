//! Reads `[pins]`.

use crate::module::line::same_pin;
use crate::module::section::Section;
use crate::module::source::shown;
use crate::module::{LineName, Pin, Sheet, SheetError, SheetFault};

/// The pins, each with a line that the rest of the sheet knows.
pub(super) fn pins(top: &Section<'_>, sheet: &Sheet) -> Result<Vec<Pin>, SheetError> {
    let Some(table) = top.open_table("pins")? else { return Ok(Vec::new()) };
    let control = sheet.control_lines();
    let mut seen: Vec<(String, usize)> = Vec::new();
    let mut pins = Vec::new();
    for (pin, line, value) in table.entries() {
        check_pin(&table, pin, line, &mut seen)?;
        let text = table.as_text(pin, line, value)?;
        let name = LineName::parse(&text).filter(|name| match name {
            LineName::Address(n) => *n < sheet.address_lines,
            LineName::Control(name) => control.contains(name.as_str()),
            _ => true,
        });
        let Some(name) = name else {
            let listed: Vec<_> = control.iter().copied().collect();
            let expected = format!(
                "D0-D31, A0-A{}, GND, VCC, NC, ? or a control line of a select or strobe ({})",
                sheet.address_lines - 1,
                listed.join(", ")
            );
            let closest = listed.into_iter().find(|one| one.eq_ignore_ascii_case(&text));
            let closest = closest.map(str::to_owned);
            let fault = SheetFault::NoSuchName { expected, got: shown(&text), closest };
            return Err(table.error(pin, line, fault));
        };
        pins.push(Pin { pin: pin.to_owned(), line: name });
    }
    Ok(pins)
}

/// Refuses a pin whose name is no text for a screen, or that is there already in other letters.
fn check_pin(
    table: &Section<'_>,
    pin: &str,
    line: usize,
    seen: &mut Vec<(String, usize)>,
) -> Result<(), SheetError> {
    table.as_text(pin, line, &toml::de::DeValue::String(pin.into()))?;
    if let Some((name, first)) = seen.iter().find(|(name, _)| same_pin(name, pin)) {
        let fault = SheetFault::Duplicate { name: name.clone(), first: *first };
        return Err(table.error(pin, line, fault));
    }
    seen.push((pin.to_owned(), line));
    Ok(())
}
