//! `sheet fit`: does this module go with this adapter sheet, line by line?

use crate::app::sheets::{load_adapter_sheet, load_sheet};
use crate::app::shelf_desk::Answer;
use crate::jobs::JobError;
use crate::module::{FitError, FitReport, LineFit, Sheet, fit_report};
use serde_json::{Value, json};
use std::fmt::Write;

/// What no sheet tells.
const LATER: &str = "voltages, shape slots, shortest times and write strobes are the adapter's own: \
                     they are looked at when it answers";

/// How the module of `sheet` fits the adapter sheet in file `adapter`; without one, what the
/// module needs.
pub(crate) fn fit_sheet(sheet: &str, adapter: Option<&str>) -> Result<Answer, JobError> {
    let sheet = load_sheet(sheet)?;
    let Some(adapter) = adapter else { return Ok(needs(&sheet)) };
    let adapter = load_adapter_sheet(adapter)?;
    let report = fit_report(&sheet, &adapter);
    let fits = report.fits();
    let verdict = match report.errors().count() {
        0 => "fits".to_owned(),
        1 => "does not fit, for one reason".to_owned(),
        count => format!("does not fit, for {count} reasons"),
    };
    let mut text = format!("{} on {}: {verdict}", sheet.name, adapter.name);
    for line in &report.lines {
        let _ = write!(text, "\n  {}", line_text(line));
    }
    for fault in &report.faults {
        let _ = write!(text, "\n  {}", error_text(fault));
    }
    for remark in report.remarks.iter().map(String::as_str).chain(held_back(&sheet).as_deref()) {
        let _ = write!(text, "\n  note: {remark}");
    }
    let _ = write!(text, "\n  note: {LATER}");
    let value = value(&sheet, &adapter.name, &report);
    Ok(Answer { code: u8::from(!fits), ..Answer::good(text, value) })
}

fn line_text(line: &LineFit) -> String {
    let pins = if line.pins.is_empty() { "-".to_owned() } else { line.pins.join(", ") };
    match &line.found {
        Ok((to, pin)) => {
            let through =
                if line.pins.len() > 1 { format!(" through {pin}") } else { String::new() };
            format!("{:<6} {pins:<12} adapter line {to}{through}", line.line.to_string())
        }
        Err(error) => format!("{:<6} {pins:<12} {}", line.line.to_string(), error_text(error)),
    }
}

fn error_text(error: &FitError) -> String {
    let kind = if error.is_safety() { "refused for safety" } else { "missing" };
    format!("{kind}: {error}")
}

/// What jobs of this version refuse of the sheet itself.
fn held_back(sheet: &Sheet) -> Option<String> {
    let spaces = sheet.spaces.iter().filter_map(crate::module::Space::not_yet);
    let all: Vec<_> = sheet.not_yet().into_iter().chain(spaces).collect();
    (!all.is_empty()).then(|| all.join("; "))
}

fn value(sheet: &Sheet, adapter: &str, report: &FitReport) -> Value {
    let fault =
        |error: &FitError| json!({ "safety": error.is_safety(), "text": error.to_string() });
    let line = |line: &LineFit| {
        let found = line.found.as_ref();
        json!({
            "line": line.line.to_string(),
            "pins": line.pins,
            "adapter_line": found.ok().map(|(to, _)| to.to_string()),
            "through": found.ok().map(|(_, pin)| pin),
            "fault": found.err().map(fault),
        })
    };
    json!({
        "module": sheet.name,
        "adapter": adapter,
        "fits": report.fits(),
        "lines": report.lines.iter().map(line).collect::<Vec<_>>(),
        "faults": report.faults.iter().map(fault).collect::<Vec<_>>(),
        "notes": report.remarks,
        "not_looked_at": LATER,
    })
}

/// What a module needs of an adapter that is wired line by line.
fn needs(sheet: &Sheet) -> Answer {
    let control: Vec<_> = sheet.control_lines().into_iter().collect();
    let (data, address) = (sheet.width().bits(), sheet.address_lines);
    let slots = sheet.spaces.len() * 2;
    let mut text = format!(
        "{} needs a rail of {}, data lines D0-D{}, address lines A0-A{}, the control lines {}, and \
         {slots} shape slots\n  note: no adapter sheet was named (--adapter FILE), so lines are \
         matched by name with those that the adapter reports",
        sheet.name,
        sheet.rail,
        data - 1,
        address - 1,
        control.join(", ")
    );
    if let Some(held) = held_back(sheet) {
        let _ = write!(text, "\n  note: {held}");
    }
    let value = json!({
        "module": sheet.name,
        "adapter": Value::Null,
        "needs": {
            "rail_mv": sheet.rail.0,
            "data_lines": data,
            "address_lines": address,
            "control": control,
            "shape_slots": slots,
        },
        "not_looked_at": LATER,
    });
    Answer::good(text, value)
}
