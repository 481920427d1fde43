//! One space, from the look to the names of its chips.

use super::ask::{Answered, Asker, in_byte_mode, lane_width};
use super::locks::read_locks;
use super::look::{Looked, Presence};
use super::report::{ChipReport, FlashFound, MIXED, SpaceReport};
use crate::bus::{Millivolts, ShapeId};
use crate::chips::{Asking, Catalogue, Family, Finding, Geometry, Way, Window, Wiring};
use crate::jobs::JobError;
use crate::module::{Kind, Space};

/// The chips of a space that can be asked together, by their place in the space.
type Group = Vec<usize>;

/// A report of what reading has shown.
pub(super) fn looked_at(
    space: &Space,
    looked: Looked,
    verdicts: bool,
    window: Window,
) -> SpaceReport {
    let chip = |chip: &crate::module::Chip| {
        let presence = if verdicts {
            looked.presence(chip.lane).to_string()
        } else {
            "no verdict: the board's level shifters find their direction by themselves".into()
        };
        ChipReport::looked(&chip.reference, chip.lane.to_string(), presence)
    };
    let mut report = SpaceReport {
        name: space.name.clone(),
        kind: space.kind.word(),
        bits: space.width.bits(),
        base: space.base.0,
        words: space.words,
        asked: None,
        chips: space.chips.iter().map(chip).collect(),
        warnings: Vec::new(),
        notes: Vec::new(),
        equals: Vec::new(),
        flash: Vec::new(),
        window,
        too_slow: None,
    };
    if verdicts {
        for chip in &space.chips {
            match looked.presence(chip.lane) {
                Presence::Nothing => report.warnings.push(format!(
                    "nothing answers on {}: {} is missing, not selected, or without supply",
                    chip.lane, chip.reference
                )),
                Presence::Partly(_) => report.warnings.push(format!(
                    "{} does not drive all of its lines: check the contacts of {}",
                    chip.reference, chip.lane
                )),
                Presence::Answers | Presence::Unproven(_) => {}
            }
        }
    }
    report
}

/// How the chips of a space are wired to the module.
pub(super) fn wirings(space: &Space) -> Vec<Wiring> {
    space.chips.iter().map(crate::module::Chip::wiring).collect()
}

/// Chips with the same address lines and the same number of data lines.
fn groups(chips: &[Wiring]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, chip) in chips.iter().enumerate() {
        let same = |group: &&mut Group| {
            let first = &chips[group[0]];
            first.same_address_lines(chip) && first.lane().bits == chip.lane().bits
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(index),
            None => groups.push(vec![index]),
        }
    }
    groups
}

/// Why no command goes to a space in which page-write parts are or may be.
pub(super) struct TooSlow {
    /// In a sentence.
    pub note: String,
    /// No such part has more words, and the sheet says that there are: the note counts only where the
    /// words behind these are not there.
    pub beyond: Option<u32>,
}

/// Why no command may go to a space in which page-write parts are or may be: the adapter is too slow
/// for them, and a write that nothing follows in time programs a page.
pub(super) fn too_slow(
    space: &Space,
    shape: ShapeId,
    window: &Window,
    catalogue: &Catalogue,
) -> Option<TooSlow> {
    let chips = wirings(space);
    let first = space.chips.first()?;
    if !matches!(space.family, None | Some(Family::Page)) {
        return None;
    }
    let largest = catalogue.largest_of_pages(first.lane.bits);
    if largest.is_none() && space.kind == Kind::Flash {
        let (reference, lane) = (&first.reference, first.lane);
        let note = format!(
            "no command was sent: a chip has 8 or 16 data lines, in the sheet {reference} has \
             {lane}; give `chips` with the lanes of each"
        );
        return Some(TooSlow { note, beyond: None });
    }
    let (since, remedy) = match space.family {
        Some(_) => ("", "use an adapter that is quick enough"),
        None => (
            ", since the sheet names no family and these may be page-write parts",
            "read what is printed on the chips and name their family in the sheet (`amd`, `jedec` \
             and `intel` need no such time), or use an adapter that is quick enough",
        ),
    };
    let larger = |most: &u32| space.family.is_none() && space.words_known && space.words > *most;
    let way = Way::of_family(Family::Page, first.lane.bits).first().copied()?;
    let (width, base, others) = (space.width, space.base, Vec::new());
    let asking = Asking { shape, width, base, chips, others, way };
    let why = match asking.in_window(window) {
        Ok(Ok(())) => return None,
        Ok(Err(slow)) => slow.to_string(),
        Err(error) => error.to_string(),
    };
    let note = format!("no command was sent{since}: {why}; {remedy}");
    Some(TooSlow { note, beyond: largest.filter(larger) })
}

/// Asks the chips of a space and completes its report.
///
/// Where the sheet names no family, or page writes, the ways of
/// [`Way::of_unknown`] are tried in turn, and the caller has a copy of the contents.
pub(super) async fn ask_space(
    asker: &mut Asker<'_, '_, '_>,
    space: &Space,
    shape: ShapeId,
    rail: Millivolts,
    report: &mut SpaceReport,
) -> Result<(), JobError> {
    let family = space.family;
    let chips = wirings(space);
    let groups = groups(&chips);
    let known = family.is_some_and(|family| family != Family::Page);
    if groups.len() > 1 && !known {
        report.notes.push(
            "the chips' address lines differ, and no family is named in the sheet: a command for \
             one could be data for another, so none was sent"
                .into(),
        );
        return Ok(());
    }
    for group in &groups {
        let pick = |inside: bool| {
            let picked = chips.iter().enumerate().filter(|(at, _)| group.contains(at) == inside);
            picked.map(|(_, chip)| chip.clone()).collect::<Vec<_>>()
        };
        let bits = chips[group[0]].lane().bits;
        let ways = match family {
            Some(family) => Way::of_family(family, bits),
            None => Way::of_unknown(bits),
        };
        let first = Asking {
            shape,
            width: space.width,
            base: space.base,
            chips: pick(true),
            others: pick(false),
            way: ways[0],
        };
        if !ask_group(asker, &first, &ways, group, rail, report).await? {
            return Ok(());
        }
    }
    compare(report);
    Ok(())
}

/// Asks chips that can be asked together; false if nothing more must be written in this space.
async fn ask_group(
    asker: &mut Asker<'_, '_, '_>,
    first: &Asking,
    ways: &[Way],
    group: &[usize],
    rail: Millivolts,
    report: &mut SpaceReport,
) -> Result<bool, JobError> {
    let mut best: Option<(u32, Asking, Vec<Finding>)> = None;
    let mut ways = ways.iter().copied().rev().collect::<Vec<_>>();
    let mut tried = Vec::new();
    while let Some(way) = ways.pop() {
        if tried.contains(&way) {
            continue;
        }
        tried.push(way);
        let asking = Asking { way, ..first.clone() };
        let (findings, changed, left_by) = match asker.ask(&asking).await? {
            Answered::TakesWrites { changed, touched } => {
                takes_writes(report, way, &touched, &changed);
                return Ok(false);
            }
            Answered::Chips { findings, changed, left_by } => (findings, changed, left_by),
        };
        if !changed.is_empty() {
            let words: Vec<_> = changed.iter().map(ToString::to_string).collect();
            report.warnings.push(format!(
                "after asking by {way} these words read otherwise than before: {}; capture the \
                 module again and compare",
                words.join(", ")
            ));
        }
        let knows: u32 = findings.iter().map(|finding| of_chip(asker, first, finding)).sum();
        let answered = findings.iter().any(Finding::answered);
        if answered {
            // What the answer itself names comes next, and nothing that would be data to it.
            let better = in_byte_mode(way, &findings);
            let settled = asker.settled(&asking, &findings);
            if asker.careful {
                ways.clear();
            }
            let bits = first.chips.first().map_or(8, |chip| chip.lane().bits);
            let left_by = left_by.map(|family| Way::of_family(family, bits)).unwrap_or_default();
            ways.extend(left_by.into_iter().rev());
            ways.extend(settled.into_iter().chain(better));
        }
        if best.as_ref().is_none_or(|(before, ..)| knows > *before) {
            best = Some((knows, asking, findings));
        }
        let complete = best.as_ref().is_some_and(|(_, asking, findings)| {
            let all = findings.iter().all(|finding| of_chip(asker, first, finding) >= 4);
            all && asker.settled(asking, findings).is_none()
                && in_byte_mode(asking.way, findings).is_none()
        });
        if complete {
            break;
        }
    }
    let Some((_, asking, findings)) = best else { return Ok(true) };
    name(asker, &asking, &findings, group, rail, report).await?;
    Ok(true)
}

fn of_chip(asker: &Asker<'_, '_, '_>, asking: &Asking, finding: &Finding) -> u32 {
    let width = asking.chips.first().map_or(crate::bus::Width::W8, lane_width);
    finding.knows(asker.catalogue, width)
}

fn takes_writes(
    report: &mut SpaceReport,
    way: Way,
    touched: &[crate::bus::WordAddress],
    changed: &[crate::bus::WordAddress],
) {
    let said = |words: &[crate::bus::WordAddress]| {
        words.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
    };
    let remedy = if report.kind == Kind::Flash.word() {
        "; correct kind in the sheet"
    } else {
        ", as the sheet says"
    };
    report.warnings.push(format!(
        "this is no flash{remedy}: the first command ({way}) stood there when it was read back, as \
         in RAM. Nothing more was sent, and the words touched ({}) were written as they were \
         before: {}",
        said(touched),
        match changed {
            [] => "they read so again".into(),
            changed => format!("BUT {} read otherwise", said(changed)),
        }
    ));
}

/// Fills in what the chips are.
async fn name(
    asker: &mut Asker<'_, '_, '_>,
    asking: &Asking,
    findings: &[Finding],
    group: &[usize],
    rail: Millivolts,
    report: &mut SpaceReport,
) -> Result<(), JobError> {
    let answered = findings.iter().any(Finding::answered);
    report.asked = Some(asking.way.to_string());
    if !answered {
        report.warnings.push(
            "no chip answered any command: it may be ROM, or of a family this program does not \
             know, or its data lines are scrambled"
                .into(),
        );
        return Ok(());
    }
    let catalogue: &Catalogue = asker.catalogue;
    let geometry = |(finding, chip): (&Finding, &Wiring)| -> Option<Geometry> {
        let identity = finding.identity(catalogue, lane_width(chip));
        finding.geometry(identity.as_ref())
    };
    let geometries: Vec<_> = findings.iter().zip(&asking.chips).map(geometry).collect();
    let way = asker.settled(asking, findings).unwrap_or(asking.way);
    let asking = &Asking { way, ..asking.clone() };
    let locks = read_locks(asker, asking, findings, &geometries).await?;
    for (at, &index) in group.iter().enumerate() {
        let (finding, chip) = (&findings[at], &asking.chips[at]);
        let entry = &mut report.chips[index];
        entry.take(finding, chip, catalogue);
        entry.take_locks(&locks[at]);
        let (reference, words) = (entry.reference.clone(), report.words);
        let unit = u64::from(chip.lane().bits / 8);
        if let Some(geometry) = &geometries[at]
            && geometry.size_bytes != u64::from(words) * unit
        {
            report.warnings.push(format!(
                "{reference} holds 0x{:X} words, the sheet gives its space 0x{words:X}: correct \
                 words in the sheet, or the chip has address lines that are not connected",
                geometry.size_bytes / unit
            ));
        }
        match &finding.cfi {
            Some(Ok(cfi)) if !(cfi.vcc.least.0..=cfi.vcc.most.0).contains(&rail.0) => {
                report.warnings.push(format!(
                    "{reference} is made for {} to {}, the rail is {rail}: take the module out and \
                     correct rail_mv in the sheet",
                    cfi.vcc.least, cfi.vcc.most
                ));
            }
            Some(Err(error)) => {
                report
                    .notes
                    .push(format!("the query table of {reference} cannot be right: {error}"));
            }
            _ => {}
        }
        if let Some(surprise) = finding.maker().and_then(crate::chips::MakerId::surprise) {
            report.notes.push(format!("{reference}: {surprise}"));
        }
        if !finding.answered() {
            report.warnings.push(format!("{reference} did not answer"));
        } else if report.chips[index].parts.is_empty() && !matches!(finding.cfi, Some(Ok(_))) {
            report.warnings.push(format!(
                "the part list has no part that answers as {reference} does; a chip file can add it"
            ));
        }
    }
    report.flash.push(FlashFound {
        chips: group.to_vec(),
        asking: asking.clone(),
        findings: findings.to_vec(),
        geometries,
        locks,
    });
    Ok(())
}

/// Chips side by side that are not the same.
fn compare(report: &mut SpaceReport) {
    let Some((first, rest)) = report.chips.split_first() else { return };
    let unlike: Vec<_> = rest.iter().filter(|chip| chip.what() != first.what()).collect();
    if unlike.is_empty() {
        return;
    }
    let all = report.chips.iter().map(|chip| format!("{} {}", chip.reference, chip.what()));
    let all = all.collect::<Vec<_>>().join("; ");
    report.warnings.push(format!("{MIXED}: {all}"));
}
