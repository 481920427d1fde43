//! How image and module go together: what is refused, and what is said.

use super::Source;
use crate::app::parts::zone_notes;
use crate::image::counted;
use crate::jobs::{
    BLANK, ChipReport, IdentifyReport, JobError, MIXED, PlanReport, SpaceReport, is_kept,
};
use crate::module::{Sheet, Space};
use crate::shelf::{Action, Capture, ChipFile, Label, Plan, Shelf};

/// Refuses a capture of another kind of module, or one whose spaces are others.
pub(super) fn refuse_other_kind(sheet: &Sheet, kept: &Capture) -> Result<(), JobError> {
    let (id, record) = (&kept.id, &kept.record);
    if !record.sheet.name.eq_ignore_ascii_case(&sheet.name) {
        return Err(JobError::Safety(format!(
            "{id} was taken from a {}, this module is a {}: what is right for one can ruin what \
             depends on the other; name an image of a {}",
            record.sheet.name, sheet.name, sheet.name
        )));
    }
    for of in &record.spaces {
        let Some((_, space)) = sheet.space(&of.name) else {
            return Err(JobError::Safety(format!(
                "{id} has words of a space {}, which the sheet of {} does not have: its sheet was \
                 another one",
                of.name, sheet.name
            )));
        };
        let end = u64::from(of.first.0) + u64::from(of.words);
        if (of.width, of.base) != (space.width, space.base) || end > u64::from(space.words) {
            return Err(JobError::Safety(format!(
                "{} of {id} has {} bits and words up to 0x{:X} from {}, here it has {} bits and \
                 0x{:X} words from {}: its sheet was another one",
                of.name,
                of.width.bits(),
                end,
                of.base,
                space.width.bits(),
                space.words,
                space.base
            )));
        }
    }
    Ok(())
}

/// What is to be said of image and module, most important first.
pub(super) fn sentences(
    sheet: &Sheet,
    specimen: &Label,
    source: &Source,
    found: &IdentifyReport,
) -> Vec<String> {
    let spaces = || {
        let held = |index: &usize| source.holds.iter().any(|(space, _)| space == index);
        (0..sheet.spaces.len()).filter(held).map(|index| (&sheet.spaces[index], index))
    };
    let mut said = Vec::new();
    match &source.kept {
        Some(kept) => {
            said.push(origin(specimen, source, kept));
            said.push(same_sheet(sheet, kept));
            said.extend(spaces().map(|(space, index)| chips(kept, space, &found.spaces[index])));
        }
        None if source.image.name == BLANK => {}
        None => said.extend(spaces().map(|(space, _)| taken_as(space))),
    }
    let kept = "keeps the words of this module";
    let taken = "is TAKEN from the image, as was asked for";
    let held = |zone: &crate::module::Zone| zone.keep && is_kept(zone, &source.take);
    said.extend(zone_notes(sheet, &source.holds, held, kept));
    let named = |zone: &crate::module::Zone| zone.keep && !is_kept(zone, &source.take);
    said.extend(zone_notes(sheet, &source.holds, named, taken));
    for space in &found.spaces {
        said.extend(space.warnings.iter().filter(|text| text.starts_with(MIXED)).cloned());
    }
    said
}

/// That a chip file is a part of the plan.
pub(super) fn of_chip_file(file: &ChipFile) -> String {
    format!(
        "the parts in {} add to the list; the plan keeps them, and a write goes by it",
        file.name
    )
}

fn origin(specimen: &Label, source: &Source, kept: &Capture) -> String {
    let of = &kept.record.specimen;
    let whose = if of == specimen { "this specimen" } else { "another specimen" };
    let same = if source.image.name == kept.id.to_string() {
        String::new()
    } else {
        format!("the file is the content of {}: ", kept.id)
    };
    let time = kept.record.time.strftime("%Y-%m-%d %H:%M UTC");
    format!("{same}taken from {of}, {whose}, {time}")
}

fn same_sheet(sheet: &Sheet, kept: &Capture) -> String {
    let then = &kept.record.sheet;
    let now = sheet.sha256();
    if then.sha256 == now {
        return format!("taken with the same sheet, {} ({}...)", then.name, short(&now));
    }
    let mut differ = Vec::new();
    match Sheet::parse("", &then.text) {
        Err(_) => differ.push("it can no longer be read".to_owned()),
        Ok(old) => {
            for space in &sheet.spaces {
                let lanes = |of: &Space| {
                    let chips = of.chips.iter().map(|chip| (chip.reference.clone(), chip.lane));
                    chips.collect::<Vec<_>>()
                };
                let before = old.space(&space.name).map(|(_, space)| space);
                if before.is_some_and(|before| lanes(before) != lanes(space)) {
                    differ.push(format!("the lanes of {}", space.name));
                }
            }
            if old.zones != sheet.zones {
                differ.push("zones".to_owned());
            }
        }
    }
    let what = if differ.is_empty() {
        "width, words, lanes and zones are the same".to_owned()
    } else {
        format!("width and words are the same, but not {}", differ.join(", "))
    };
    format!(
        "taken with another text of the sheet {} ({}..., now {}...): {what}",
        then.name,
        short(&then.sha256),
        short(&now)
    )
}

fn short(sum: &str) -> &str {
    sum.get(..12).unwrap_or(sum)
}

fn chips(kept: &Capture, space: &Space, found: &SpaceReport) -> String {
    let here = in_words(found);
    let name = &space.name;
    let there = kept.record.spaces.iter().filter(|of| of.name == *name).flat_map(|of| &of.chips);
    let there: Vec<_> = there.filter(|chip| chip.identified.is_some()).collect();
    if there.is_empty() {
        return format!("chips of {name}: not looked at when it was taken; here {here}");
    }
    let same = |(chip, now): (&&crate::shelf::ChipRecord, &ChipReport)| {
        (&chip.chip, &chip.lane, &chip.part) == (&now.reference, &now.lane, &now.what())
    };
    if there.len() == found.chips.len() && there.iter().zip(&found.chips).all(same) {
        return format!("chips of {name}: the same there and here, {here}");
    }
    let there = there.iter().map(|chip| format!("{} {}", chip.chip, chip.part));
    let there = there.collect::<Vec<_>>().join("; ");
    format!("chips of {name} DIFFER: there {there}; here {here}")
}

/// The chips of a space in a few words.
pub(super) fn in_words(found: &SpaceReport) -> String {
    let alike = found.chips.chunk_by(|one, two| one.what() == two.what());
    let said = alike.map(|chips| {
        let names: Vec<_> = chips.iter().map(|chip| chip.reference.as_str()).collect();
        format!("{} {}", names.join(", "), chips[0].what())
    });
    said.collect::<Vec<_>>().join("; ")
}

fn taken_as(space: &Space) -> String {
    let lanes = space.chips.iter().map(|chip| format!("{} on {}", chip.reference, chip.lane));
    format!(
        "nothing is known of where it comes from: it is taken as words of {} bits for {}, least \
         significant byte first, {}",
        space.width.bits(),
        space.name,
        lanes.collect::<Vec<_>>().join(", ")
    )
}

/// Where content with one of these sums was written, and the instrument started.
pub(super) fn where_it_worked(shelf: &Shelf, sums: &[&str]) -> Result<String, JobError> {
    let worked = shelf.worked_with(sums)?;
    if worked.is_empty() {
        return Ok("not recorded as working in any instrument".into());
    }
    let said = worked
        .iter()
        .map(|worked| format!("{} ({})", worked.specimen, worked.time.strftime("%Y-%m-%d")));
    Ok(format!("recorded as working: {}", said.collect::<Vec<_>>().join(", ")))
}

/// What to think of before a plan is carried out.
pub(super) fn cautions(plan: &Plan, report: &PlanReport) -> Vec<String> {
    let mut said = Vec::new();
    let erased = plan.sectors().filter(|(_, sector)| sector.action == Action::Erase).count();
    if erased > 0 {
        said.push(format!(
            "flash wears with every erase: this one erases {} once",
            counted(erased as u64, "sector")
        ));
    }
    if !report.left.is_empty() {
        said.push("the module will NOT hold the whole image afterwards: see what stays".into());
    }
    said.push(format!(
        "{id} is the only way back: keep it elsewhere, too (`buswright shelf export {id} FILE`)",
        id = plan.leads_back()
    ));
    said.push(
        "a changed instrument is unproven: a person qualified for its use checks it against a \
         known reference before anyone relies on it"
            .into(),
    );
    said
}
