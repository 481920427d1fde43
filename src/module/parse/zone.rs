//! Reads `[[zone]]`.

use super::value;
use crate::module::keys::{ZONE, closest};
use crate::module::section::{At, Section};
use crate::module::{SheetError, SheetFault, Space, Zone, parse_range};

/// Reads every zone and checks it against its space and the zones before it.
pub(super) fn zones(top: &Section<'_>, spaces: &[Space]) -> Result<Vec<Zone>, SheetError> {
    let mut zones: Vec<At<Zone>> = Vec::new();
    for row in top.rows("zone", &ZONE)? {
        let zone = zone(&row, spaces)?;
        for other in zones.iter().filter(|other| other.value.space == zone.value.space) {
            let (new, old) = (&zone.value, &other.value);
            if new.name == old.name {
                let fault = SheetFault::Duplicate { name: new.name.clone(), first: other.line };
                return Err(row.error("name", row.line, fault));
            }
            let (from, to) = (new.start.max(old.start), new.last().min(old.last()));
            if from <= to {
                let (other, line) = (old.name.clone(), other.line);
                let fault = SheetFault::ZonesOverlap { from, to, other, line };
                return Err(row.error("range", zone.line, fault));
            }
        }
        zones.push(zone);
    }
    Ok(zones.into_iter().map(|at| at.value).collect())
}

/// One zone with the line of its range.
fn zone(row: &Section<'_>, spaces: &[Space]) -> Result<At<Zone>, SheetError> {
    let named = row.need("space", row.text("space")?, "the name of its space")?;
    let found = spaces.iter().enumerate().find(|(_, space)| space.name == named.value);
    let Some((index, space)) = found else {
        let names = || spaces.iter().map(|space| space.name.as_str());
        let expected =
            format!("a space of this sheet ({})", names().collect::<Vec<_>>().join(", "));
        let closest = closest(&named.value, names()).map(str::to_owned);
        let fault = SheetFault::NoSuchName { expected, got: named.value, closest };
        return Err(row.error("space", named.line, fault));
    };
    let name = row.need("name", row.text("name")?, "a name for this zone")?.value;
    let text = row.need("range", row.text("range")?, "START+LENGTH in words")?;
    let range = parse_range(&text.value);
    let (start, words) = range.map_err(|e| row.error("range", text.line, e.into()))?;
    let keep = value(row.flag("keep")?).unwrap_or(false);
    let zone = Zone { space: index, name, start, words, keep };
    if zone.start < space.base || zone.last() > space.last() {
        let (from, to, first, last) = (zone.start, zone.last(), space.base, space.last());
        let fault = SheetFault::ZoneOutside { from, to, space: space.name.clone(), first, last };
        return Err(row.error("range", text.line, fault));
    }
    Ok(At { value: zone, line: text.line })
}
