//! Checks that one cycle reaches one space.

use super::space::Spaces;
use crate::module::idle::{rest_levels, selected_by};
use crate::module::section::Section;
use crate::module::{SheetFault, Space};

/// Tells of spaces that answer together, and of control lines that leave no idle bus.
pub(super) fn check(top: &Section<'_>, found: &Spaces) {
    let spaces: Vec<Space> = found.good().cloned().collect();
    let places: Vec<_> = found.iter().collect();
    let select = |space: usize| places.get(space).map_or(1, |place| place.select);
    let name = |space: usize| spaces.get(space).map_or_else(String::new, |one| one.name.clone());
    let rest = match rest_levels(&spaces) {
        Ok(rest) => rest,
        Err(clash) => {
            let (first, second) = (name(clash.first), name(clash.second));
            let fault = SheetFault::NoIdle { line: clash.line, first, second };
            let heading = places.get(clash.second).map_or(1, |place| place.heading);
            if clash.strobe {
                top.tell("space", heading, fault);
            } else {
                top.tell("space.select", select(clash.second), fault);
            }
            return;
        }
    };
    for (second, b) in spaces.iter().enumerate() {
        for a in &spaces[..second] {
            let (from, to) = (a.base.max(b.base), a.last().min(b.last()));
            let together = selected_by(&a.select, &b.select, &rest)
                || selected_by(&b.select, &a.select, &rest);
            if from <= to && together {
                let (first, other) = (a.name.clone(), b.name.clone());
                let open = [a, b].into_iter().find(|space| !space.words_known);
                let unknown = open.map(|space| space.name.clone());
                let fault = SheetFault::SpacesOverlap { first, second: other, from, to, unknown };
                top.tell("space.select", select(second), fault);
            }
        }
    }
}
