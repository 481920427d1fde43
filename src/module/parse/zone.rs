//! Reads `[[zone]]`.

use super::value;
use crate::module::keys::{ZONE, closest};
use crate::module::section::Section;
use crate::module::{SheetError, SheetFault, Space, Zone, parse_range};

/// A zone with the lines of its name and its range.
struct Placed {
    zone: Zone,
    name: usize,
    range: usize,
}

/// Reads every zone and checks it against its space and the zones before it.
pub(super) fn zones(top: &Section<'_>, spaces: &[Space]) -> Result<Vec<Zone>, SheetError> {
    let mut zones: Vec<Placed> = Vec::new();
    for row in top.rows("zone", &ZONE)? {
        let new = zone(&row, spaces)?;
        for old in zones.iter().filter(|old| old.zone.space == new.zone.space) {
            let (a, b) = (&old.zone, &new.zone);
            if a.name == b.name {
                let fault = SheetFault::Duplicate { name: a.name.clone(), first: old.name };
                return Err(row.error("name", new.name, fault));
            }
            let (from, to) = (a.start.max(b.start), a.last().min(b.last()));
            if from <= to {
                let (other, line) = (a.name.clone(), old.range);
                let fault = SheetFault::ZonesOverlap { from, to, other, line };
                return Err(row.error("range", new.range, fault));
            }
        }
        zones.push(new);
    }
    Ok(zones.into_iter().map(|placed| placed.zone).collect())
}

fn zone(row: &Section<'_>, spaces: &[Space]) -> Result<Placed, SheetError> {
    let named = row.need("space", row.text("space")?, "the name of its space")?;
    let found = spaces.iter().enumerate().find(|(_, space)| space.name == named.value);
    let Some((index, space)) = found else {
        let known = || spaces.iter().map(|space| space.name.as_str());
        let expected =
            format!("a space of this sheet ({})", known().collect::<Vec<_>>().join(", "));
        let closest = closest(&named.value, known()).map(str::to_owned);
        let fault = SheetFault::NoSuchName { expected, got: named.value, closest };
        return Err(row.error("space", named.line, fault));
    };
    let name = row.need("name", row.text("name")?, "a name for this zone")?;
    let text = row.need("range", row.text("range")?, "START+LENGTH in words")?;
    let range = parse_range(&text.value);
    let (start, words) = range.map_err(|e| row.error("range", text.line, e.into()))?;
    let keep = value(row.flag("keep")?).unwrap_or(false);
    let zone = Zone { space: index, name: name.value, start, words, keep };
    if zone.start < space.base || zone.last() > space.last() {
        let (from, to, first, last) = (zone.start, zone.last(), space.base, space.last());
        let fault = SheetFault::ZoneOutside { from, to, space: space.name.clone(), first, last };
        return Err(row.error("range", text.line, fault));
    }
    Ok(Placed { zone, name: name.line, range: text.line })
}
