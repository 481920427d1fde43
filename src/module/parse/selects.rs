//! Checks that one cycle reaches one space.

use super::space::Place;
use crate::module::idle::{rest_levels, selected_by};
use crate::module::section::Section;
use crate::module::{SheetError, SheetFault, Space};

/// Refuses spaces that answer together, and control lines that leave no idle bus.
pub(super) fn check(
    top: &Section<'_>,
    spaces: &[Space],
    places: &[Place],
) -> Result<(), SheetError> {
    let select = |space: usize| places.get(space).map_or(1, |place| place.select);
    let name = |space: usize| spaces.get(space).map_or_else(String::new, |one| one.name.clone());
    let rest = rest_levels(spaces).map_err(|clash| {
        let (first, second) = (name(clash.first), name(clash.second));
        let fault = SheetFault::NoIdle { line: clash.line, first, second };
        let heading = places.get(clash.second).map_or(1, |place| place.heading);
        if clash.strobe {
            top.error("space", heading, fault)
        } else {
            top.error("space.select", select(clash.second), fault)
        }
    })?;
    for (second, b) in spaces.iter().enumerate() {
        for a in &spaces[..second] {
            let (from, to) = (a.base.max(b.base), a.last().min(b.last()));
            let together = selected_by(&a.select, &b.select, &rest)
                || selected_by(&b.select, &a.select, &rest);
            if from <= to && together {
                let (first, other) = (a.name.clone(), b.name.clone());
                let fault = SheetFault::SpacesOverlap { first, second: other, from, to };
                return Err(top.error("space.select", select(second), fault));
            }
        }
    }
    Ok(())
}
