//! Reads `open` and `close`: cycle scripts as text.

use crate::bus::script::{
    LaneRule, Limits, Op, Refusal, Script, SlotRule, TextError, check, parse_lines,
};
use crate::module::section::Section;
use crate::module::{Family, Kind, SheetFault, Space};

/// A script that is text so far.
pub(super) struct Written {
    key: &'static str,
    /// The operations, each with its line in the sheet.
    ops: Vec<(usize, Op)>,
}

/// What is written at `key`, if it can be read.
pub(super) fn written(row: &Section<'_>, key: &'static str) -> Option<Written> {
    let lines = row.lines(key)?;
    match parse_lines(lines.text) {
        Ok(ops) => {
            let ops: Vec<_> = ops.iter().map(|one| (lines.place(one.line), one.op)).collect();
            if ops.is_empty() {
                row.tell(key, lines.place(1), SheetFault::Script(Refusal::Empty.to_string()));
                return None;
            }
            Some(Written { key, ops })
        }
        Err(TextError { line, what }) => {
            row.tell(key, lines.place(line), SheetFault::Script(what.to_string()));
            None
        }
    }
}

/// What the checker must know of a space whose shape a script names.
pub(super) fn rule(space: &Space) -> SlotRule {
    let whole = space.kind == Kind::Ram || space.family == Some(Family::Page);
    SlotRule { width: space.width, lanes: if whole { LaneRule::Whole } else { LaneRule::Rest } }
}

impl Written {
    /// The script, if it is one that can be run without start values: `payload` words are taken,
    /// and `shape` counts the spaces of the sheet, whose rules are given as far as they are known.
    pub fn check(
        self,
        row: &Section<'_>,
        rules: &[Option<SlotRule>],
        payload: u64,
    ) -> Option<Script> {
        let key = self.key;
        let line_of = |index: usize| self.ops.get(index).map_or(row.line, |(line, _)| *line);
        let tell = |index: usize, what: String| {
            row.tell(key, line_of(index), SheetFault::Script(what));
        };
        let wrong = self.ops.iter().enumerate().find_map(|(index, (_, op))| match op {
            Op::Shape(slot) if usize::from(slot.0) >= rules.len() => {
                let last = rules.len() - 1;
                let what = format!("shape {} is of no space; this sheet has 0 to {last}", slot.0);
                Some((index, what))
            }
            Op::Emit => Some((index, "nothing takes words that a sheet's script emits".into())),
            op if op.uses_n() => Some((index, "a sheet's script is started without N".into())),
            _ => None,
        });
        if let Some((index, what)) = wrong {
            tell(index, what);
            return None;
        }
        let ops: Vec<_> = self.ops.iter().map(|(_, op)| *op).collect();
        let script = Script::encode(&ops);
        // A space that is faulty itself is no fault of the script.
        let unknown = SlotRule { width: crate::bus::Width::W32, lanes: LaneRule::Rest };
        let rules = rules.iter().map(|rule| rule.unwrap_or(unknown));
        match check(&script, &Limits::with_shapes(rules)) {
            Ok(checked) if checked.least().payload == payload => Some(script),
            Ok(checked) => {
                let takes = checked.least().payload;
                let wanted = match payload {
                    0 => "it is given none".to_owned(),
                    _ => "with `banks` it takes one, the number of the bank".to_owned(),
                };
                tell(0, format!("it takes {takes} payload words; {wanted}"));
                None
            }
            Err(error) => {
                let placed = script.decode().unwrap_or_default();
                let at = placed.iter().rposition(|placed| placed.at <= error.at).unwrap_or(0);
                tell(at, error.what.to_string());
                None
            }
        }
    }
}
