//! Module sheet against adapter sheet, line by line and without hardware.

use super::wiring::{bus_lines, reach, supplies};
use super::{AdapterSheet, Board, ControlLine, FitError, LineName, Sheet, plan_access};
use crate::bus::ShapeTimes;
use std::collections::BTreeSet;

/// One line of the module, followed to the adapter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineFit {
    /// The module's line.
    pub line: LineName,
    /// The connector pins that carry it.
    pub pins: Vec<String>,
    /// The adapter line that reaches it, and the pin where it does; or why none does.
    pub found: Result<(LineName, String), FitError>,
}

/// How a module and an adapter sheet go together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FitReport {
    /// Every line that the module needs.
    pub lines: Vec<LineFit>,
    /// What is wrong beyond single lines.
    pub faults: Vec<FitError>,
    /// What is allowed and should be known.
    pub remarks: Vec<String>,
}

impl FitReport {
    /// True if nothing is missing or refused.
    pub fn fits(&self) -> bool {
        self.errors().next().is_none()
    }

    /// Everything that is wrong, lines first.
    pub fn errors(&self) -> impl Iterator<Item = &FitError> {
        let lines = self.lines.iter().filter_map(|line| line.found.as_ref().err());
        lines.chain(&self.faults)
    }
}

/// Follows every line of the module through its pins to the adapter. What only the adapter itself
/// knows (voltages, its shortest times, its shape slots, which line it names a write strobe) is
/// taken as good.
pub fn fit_report(sheet: &Sheet, adapter: &AdapterSheet) -> FitReport {
    let mut faults: Vec<_> = supplies(sheet, adapter).collect();
    if sheet.pins.is_empty() {
        let (adapter, module) = (adapter.name.clone(), sheet.name.clone());
        faults.push(FitError::NoPins { adapter, module });
        return FitReport { lines: Vec::new(), faults, remarks: Vec::new() };
    }
    let checks = sheet.checks.iter().map(|check| check.line.as_str());
    let control: BTreeSet<_> = sheet.control_lines().into_iter().chain(checks).collect();
    let control = control.into_iter().map(|name| LineName::Control(name.to_owned()));
    let lines: Vec<_> = bus_lines(sheet)
        .chain(control)
        .map(|line| LineFit {
            pins: sheet.pins_of(&line).map(str::to_owned).collect(),
            found: reach(sheet, adapter, &line).map(|(to, pin)| (to.clone(), pin.to_owned())),
            line,
        })
        .collect();
    let mut remarks = remarks(sheet, adapter, &lines);
    if faults.is_empty() && lines.iter().all(|line| line.found.is_ok()) {
        match plan_access(sheet, Some(adapter), &board(adapter)) {
            Ok(access) => {
                remarks.extend(
                    access.iter().filter_map(|one| Some(one.no_write.as_ref()?.to_string())),
                );
            }
            Err(error) => faults.push(error),
        }
        remarks.dedup();
    } else {
        remarks.push("pulls and strobes are looked at when every line is reached".to_owned());
    }
    FitReport { lines, faults, remarks }
}

/// The board as its sheet knows it.
fn board(adapter: &AdapterSheet) -> Board {
    let mut board = Board {
        data_lines: 0,
        address_lines: 0,
        control: Vec::new(),
        shortest: ShapeTimes::default(),
        shape_slots: u8::MAX,
    };
    for wire in &adapter.lines {
        match &wire.line {
            LineName::Data(n) => board.data_lines = board.data_lines.max(n + 1),
            LineName::Address(n) => board.address_lines = board.address_lines.max(n + 1),
            LineName::Control(name) => board.control.push(ControlLine {
                name: name.clone(),
                write_strobe: false,
                pulled_down: adapter.pulled_down.contains(name),
            }),
            _ => {}
        }
    }
    board
}

fn remarks(sheet: &Sheet, adapter: &AdapterSheet, lines: &[LineFit]) -> Vec<String> {
    let mut remarks = Vec::new();
    for pin in sheet.pins.iter().filter(|pin| pin.line == LineName::NotTraced) {
        if let Some(line) = adapter.line_at(&pin.pin) {
            remarks.push(format!(
                "adapter line {line} leads to pin {}, which is not traced on the module: leave it \
                 open until it is",
                pin.pin
            ));
        }
    }
    let used: Vec<_> = lines.iter().filter_map(|line| Some(&line.found.as_ref().ok()?.0)).collect();
    let spare = adapter.lines.iter().filter(|wire| !used.contains(&&wire.line));
    let spare: Vec<_> = spare.map(|wire| wire.line.to_string()).collect();
    if !spare.is_empty() {
        remarks.push(format!("adapter lines this module does not use: {}", spare.join(", ")));
    }
    remarks
}
