//! Reads `[[zone]]`.

use super::space::Spaces;
use super::value;
use crate::module::keys::{ZONE, closest};
use crate::module::section::Section;
use crate::module::{SheetFault, Zone, parse_range};

/// More zones than anybody names.
const MOST_ZONES: usize = 1024;

/// A zone with the lines of its name and its range.
struct Placed {
    zone: Zone,
    name: usize,
    range: usize,
}

/// Reads every zone and checks it against its space and the zones before it.
pub(super) fn zones(top: &Section<'_>, spaces: &Spaces) -> Vec<Zone> {
    let mut zones: Vec<Placed> = Vec::new();
    for row in top.rows("zone", &ZONE, MOST_ZONES) {
        let Some(new) = zone(&row, spaces) else { continue };
        let before = top.source.count();
        for old in zones.iter().filter(|old| old.zone.space == new.zone.space) {
            let (a, b) = (&old.zone, &new.zone);
            if a.name == b.name {
                let fault = SheetFault::Duplicate { name: a.name.clone(), first: old.name };
                row.tell("name", new.name, fault);
            }
            let (from, to) = (a.start.max(b.start), a.last().min(b.last()));
            if from <= to {
                let (other, line) = (a.name.clone(), old.range);
                row.tell("range", new.range, SheetFault::ZonesOverlap { from, to, other, line });
            }
            if top.source.count() > before {
                break;
            }
        }
        zones.push(new);
    }
    zones.into_iter().map(|placed| placed.zone).collect()
}

/// The index of the space that a zone names.
fn index(row: &Section<'_>, spaces: &Spaces) -> Option<usize> {
    let named = row.need("space", row.text("space"), "the name of its space")?;
    let known = || spaces.iter().filter_map(|found| found.name.as_deref());
    let index = spaces.iter().position(|found| found.name.as_ref() == Some(&named.value));
    let all_named = spaces.iter().all(|found| found.name.is_some());
    if index.is_none() && all_named {
        let expected =
            format!("a space of this sheet ({})", known().collect::<Vec<_>>().join(", "));
        let closest = closest(&named.value, known()).map(str::to_owned);
        let fault = SheetFault::NoSuchName { expected, got: named.value, closest };
        row.tell("space", named.line, fault);
    }
    index
}

fn zone(row: &Section<'_>, spaces: &Spaces) -> Option<Placed> {
    let index = index(row, spaces);
    let name = row.need("name", row.text("name"), "a name for this zone");
    let text = row.need("range", row.text("range"), "START+LENGTH in words");
    let range = text.as_ref().and_then(|text| {
        parse_range(&text.value).map_err(|e| row.tell("range", text.line, e.into())).ok()
    });
    let keep = value(row.flag("keep")).unwrap_or(false);
    let live = row.flag("live");
    let keep_off = value(row.flag("keep_off")).unwrap_or(false);
    if let Some(live) = live.filter(|live| live.value && keep_off) {
        row.tell("live", live.line, SheetFault::LiveKeptOff);
    }
    let (space, name, text, (start, words)) = (index?, name?, text?, range?);
    let zone = Zone {
        space,
        name: name.value,
        start,
        words,
        keep: keep || keep_off,
        live: value(live).unwrap_or(false),
        keep_off,
    };
    if let Some(of) = spaces.iter().nth(space).and_then(|found| found.space.as_ref())
        && (zone.start < of.base || zone.last() > of.last())
    {
        let (from, to, first, last) = (zone.start, zone.last(), of.base, of.last());
        let fault = SheetFault::ZoneOutside { from, to, space: of.name.clone(), first, last };
        row.tell("range", text.line, fault);
        return None;
    }
    Some(Placed { zone, name: name.line, range: text.line })
}
