//! Which board line carries which module line.

use super::{AdapterSheet, Board, FitError, LineName, Sheet};
use std::collections::BTreeMap;

/// The board's index of every control line of the module.
pub(super) type ControlMap<'a> = BTreeMap<&'a str, usize>;

/// Follows every line the module needs to the board.
///
/// Without an adapter sheet lines are matched by name. With one they are followed by pin, and
/// data and address lines must come out under their own number.
pub(super) fn control_map<'a>(
    sheet: &'a Sheet,
    adapter: Option<&'a AdapterSheet>,
    board: &Board,
) -> Result<ControlMap<'a>, FitError> {
    counts(sheet, board)?;
    if let Some(adapter) = adapter {
        if sheet.pins.is_empty() {
            let (adapter, module) = (adapter.name.clone(), sheet.name.clone());
            return Err(FitError::NoPins { adapter, module });
        }
        if let Some(error) = supplies(sheet, adapter).next() {
            return Err(error);
        }
        for line in bus_lines(sheet) {
            reach(sheet, adapter, &line)?;
        }
    }
    let mut map = ControlMap::new();
    for line in sheet.control_lines() {
        let wanted = match adapter {
            Some(adapter) => {
                let (found, _) = reach(sheet, adapter, &LineName::Control(line.to_owned()))?;
                match found {
                    LineName::Control(name) => name,
                    _ => line,
                }
            }
            None => line,
        };
        let Some(index) = board.control.iter().position(|one| one.name == wanted) else {
            let names: Vec<_> = board.control.iter().map(|one| one.name.as_str()).collect();
            let wanted = wanted.to_owned();
            let has = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            return Err(FitError::ControlLine { line: line.to_owned(), wanted, has });
        };
        map.insert(line, index);
    }
    Ok(map)
}

fn counts(sheet: &Sheet, board: &Board) -> Result<(), FitError> {
    let (module, needs) = (sheet.name.clone(), sheet.width().bits());
    if u32::from(board.data_lines) < needs {
        let (has, missing) = (board.data_lines, span('D', board.data_lines, needs));
        return Err(FitError::DataLines { module, needs, has, missing });
    }
    let needs = sheet.address_lines;
    if board.address_lines < needs {
        let (has, missing) = (board.address_lines, span('A', board.address_lines, needs.into()));
        return Err(FitError::AddressLines { module, needs, has, missing });
    }
    if board.control.len() > 16 {
        return Err(FitError::TooManyControl(board.control.len()));
    }
    for (index, line) in board.control.iter().enumerate() {
        if board.control[..index].iter().any(|before| before.name == line.name) {
            return Err(FitError::ControlTwice(line.name.clone()));
        }
    }
    Ok(())
}

fn span(letter: char, first: u8, end: u32) -> String {
    match end - 1 {
        last if last == u32::from(first) => format!("{letter}{last}"),
        last => format!("{letter}{first}-{letter}{last}"),
    }
}

/// The data and address lines that the module needs.
pub(super) fn bus_lines(sheet: &Sheet) -> impl Iterator<Item = LineName> + use<> {
    let data = (0..sheet.width().bits() as u8).map(LineName::Data);
    data.chain((0..sheet.address_lines).map(LineName::Address))
}

/// Adapter lines on pins where the module has a supply.
pub(super) fn supplies<'a>(
    sheet: &'a Sheet,
    adapter: &'a AdapterSheet,
) -> impl Iterator<Item = FitError> + 'a {
    let supplied = |line: &LineName| matches!(line, LineName::Ground | LineName::Rail);
    sheet.pins.iter().filter(move |pin| supplied(&pin.line)).filter_map(|pin| {
        let (line, supply) = (adapter.line_at(&pin.pin)?.clone(), pin.line.clone());
        Some(FitError::LineOnSupply { line, pin: pin.pin.clone(), supply })
    })
}

/// The adapter line that reaches a module line, and the pin where it does: one of the same number
/// for data and address lines, a control line for others.
pub(super) fn reach<'a>(
    sheet: &'a Sheet,
    adapter: &'a AdapterSheet,
    line: &LineName,
) -> Result<(&'a LineName, &'a str), FitError> {
    let (found, pin) = follow(sheet, adapter, line)?;
    let at = || (pin.to_owned(), found.clone());
    match (line, found) {
        (LineName::Control(_), LineName::Control(_)) => Ok((found, pin)),
        (LineName::Control(line), _) => {
            let (line, (pin, found)) = (line.clone(), at());
            Err(FitError::NotControl { line, pin, found })
        }
        _ if found == line => Ok((found, pin)),
        _ => {
            let (line, (pin, found)) = (line.clone(), at());
            Err(FitError::NotStraight { line, pin, found })
        }
    }
}

/// The adapter line that reaches a module line, and the pin where it does.
fn follow<'a>(
    sheet: &'a Sheet,
    adapter: &'a AdapterSheet,
    line: &LineName,
) -> Result<(&'a LineName, &'a str), FitError> {
    let mut reached =
        sheet.pins_of(line).filter_map(|pin| adapter.line_at(pin).map(|found| (found, pin)));
    let Some(first) = reached.next() else {
        let pins: Vec<_> = sheet.pins_of(line).collect();
        let line = line.clone();
        if pins.is_empty() {
            return Err(FitError::NotTraced { line });
        }
        let (pins, adapter) = (pins.join(", "), adapter.name.clone());
        return Err(FitError::NotWired { line, pins, adapter });
    };
    match reached.find(|other| other.0 != first.0) {
        Some(other) => Err(FitError::TwoLines {
            line: line.clone(),
            first: first.0.clone(),
            second: other.0.clone(),
        }),
        None => Ok(first),
    }
}
