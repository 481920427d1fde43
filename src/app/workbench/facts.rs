//! Sheet, adapter, chips, plan: what the screen needs of them.

use super::planned::parts;
use super::snapshot::{AdapterFacts, ChipFacts, SheetFacts, Snapshot, SpaceFacts, ZoneFacts};
use crate::jobs::{ChipReport, IdentifyReport, SpaceReport};
use crate::module::Sheet;
use crate::shelf::{Plan, Told};
use crate::wire::HelloReply;

/// More sectors than any chip has that the map is made for; beyond, it shows blocks.
const SECTORS_MAX: u32 = 4_096;

/// Lays a plan over the map, with what its journal says.
pub(super) fn lay_over(
    snapshot: &mut Snapshot,
    code: Option<String>,
    plan: &Plan,
    told: Option<&Told>,
) {
    snapshot.laid = code;
    let Some(sheet) = snapshot.sheet.clone() else { return };
    for (facts, map) in sheet.spaces.iter().zip(&mut snapshot.map) {
        let planned = plan.spaces.iter().find(|space| space.name == facts.name);
        map.plan(planned.map_or_else(Vec::new, |space| parts(space, told)));
    }
}

/// Chips and sectors of a report, in sheet order.
pub(super) fn found(snapshot: &mut Snapshot, report: &IdentifyReport) {
    snapshot.chips.clear();
    for (space, map) in report.spaces.iter().zip(&mut snapshot.map) {
        map.found(sectors(space));
        snapshot.chips.extend(space.chips.iter().map(|chip| ChipFacts {
            reference: chip.reference.clone(),
            part: match (chip.answered, chip.parts.as_slice()) {
                (true, []) => "unknown part".into(),
                (true, parts) => parts.join(" or "),
                (false, _) => chip.presence.clone(),
            },
            what: if chip.answered { chip.what() } else { chip.presence.clone() },
            sectors: chip.sectors.iter().map(|region| region.count).sum(),
        }));
    }
}

/// The first word of each sector of a space, where its chips agree on them.
fn sectors(space: &SpaceReport) -> Vec<u32> {
    let of_chip = |chip: &ChipReport| {
        let unit = u64::from(chip.bits / 8);
        let mut firsts = Vec::new();
        let mut at = 0;
        for region in &chip.sectors {
            for _ in 0..region.count.min(SECTORS_MAX) {
                firsts.push(u32::try_from(at).ok()?);
                at += region.bytes.checked_div(unit)?;
            }
        }
        (at == u64::from(space.words)).then_some(firsts)
    };
    let mut all = space.chips.iter().map(of_chip);
    let first = all.next().flatten().filter(|firsts| firsts.len() <= SECTORS_MAX as usize);
    match first {
        Some(firsts) if all.all(|other| other.as_ref() == Some(&firsts)) => firsts,
        _ => Vec::new(),
    }
}

/// What HELLO told.
pub(super) fn adapter(hello: &HelloReply) -> AdapterFacts {
    AdapterFacts {
        board: hello.board.clone(),
        firmware: hello.firmware.clone(),
        baud: None,
        rail_mv: hello.rails.first().map_or(0, |mv| mv.0),
        rail_sensed: hello.rail_sensed,
        io_mv: hello.io_high.0,
        io_measured: hello.io_measured,
        control: hello.control.iter().map(|line| line.name.clone()).collect(),
        data_lines: hello.data_lines,
        address_lines: hello.address_lines,
    }
}

/// What the screen needs of a sheet.
pub fn facts(sheet: &Sheet) -> SheetFacts {
    let spaces = sheet.spaces.iter().map(|space| SpaceFacts {
        name: space.name.clone(),
        kind: space.kind,
        bits: space.width.bits(),
        base: space.base,
        words: space.words,
        battery: space.battery,
        chips: space.chips.iter().map(|chip| (chip.reference.clone(), chip.lane.mask())).collect(),
    });
    let zones = sheet.zones.iter().map(|zone| ZoneFacts {
        space: zone.space,
        name: zone.name.clone(),
        start: zone.start,
        words: zone.words,
        keep: zone.keep,
    });
    let mut pins: Vec<(String, String)> = Vec::new();
    for pin in &sheet.pins {
        let line = pin.line.to_string();
        match pins.iter_mut().find(|(of, _)| *of == line) {
            Some((_, names)) => {
                names.push(' ');
                names.push_str(&pin.pin);
            }
            None => pins.push((line, pin.pin.clone())),
        }
    }
    SheetFacts {
        name: sheet.name.clone(),
        title: sheet.title.clone(),
        rail_mv: sheet.rail.0,
        spaces: spaces.collect(),
        zones: zones.collect(),
        pins,
    }
}
