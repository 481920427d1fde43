//! Reads `[[check]]`.

use super::space::Spaces;
use super::value;
use crate::module::keys::CHECK;
use crate::module::section::Section;
use crate::module::{LineCheck, SheetFault};

/// Control lines that an adapter can have.
const MOST_CHECKS: usize = 16;

/// Every line that must have a level; none of them is driven for a space.
pub(super) fn checks(top: &Section<'_>, spaces: &Spaces) -> Vec<LineCheck> {
    let driven = spaces.control_lines();
    let mut checks: Vec<(LineCheck, usize)> = Vec::new();
    for row in top.rows("check", &CHECK, MOST_CHECKS) {
        let line = row.need("line", row.text("line"), "a control line");
        let level = value(row.need("level", row.level("level"), "\"low\" or \"high\""));
        let why = value(row.text("why"));
        let Some(at) = line else { continue };
        let Some(line) = row.control_line("line", at.line, &at.value) else { continue };
        if driven.contains(line.as_str()) {
            row.tell("line", at.line, SheetFault::CheckDriven(line));
            continue;
        }
        if let Some((_, first)) = checks.iter().find(|(check, _)| check.line == line) {
            row.tell("line", at.line, SheetFault::Duplicate { name: line, first: *first });
            continue;
        }
        if let Some(level) = level {
            checks.push((LineCheck { line, level, why }, at.line));
        }
    }
    checks.into_iter().map(|(check, _)| check).collect()
}
