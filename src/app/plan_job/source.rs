//! The image of a plan: a file, a capture, blank words, or what was there before the last write.

use super::PlanOptions;
use crate::app::image::{Expected, ImageName, blank_parts, file_parts, kept_image, kept_parts};
use crate::app::input::Plain;
use crate::app::parts::zone_notes;
use crate::app::plan_job::fit::refuse_other_kind;
use crate::app::unsettled::caution_of_mixture;
use crate::image::{ACCEPT, SHELF_LIST, TAKE, one_line};
use crate::jobs::{BLANK, Desk, JobError, VerifyPart, is_kept};
use crate::module::{Kind, Sheet, Zone};
use crate::shelf::{Capture, ImageRecord, Label, Part, Shelf, sha256_hex};

/// What a plan is to bring onto a module.
pub(in crate::app) struct Source {
    /// What the plan is for, a sentence without its full stop.
    pub what: String,
    /// What is written down of it.
    pub image: ImageRecord,
    /// The flash words that it holds.
    pub holds: Vec<(usize, Part)>,
    /// Those of them that may be written.
    pub parts: Vec<VerifyPart>,
    /// Kept zones that are taken from it all the same.
    pub take: Vec<String>,
    /// The capture that it is, or whose content a file is.
    pub kept: Option<Capture>,
}

/// Finds what `options` ask for.
pub(super) fn find_source(
    desk: &Desk<'_>,
    shelf: &Shelf,
    sheet: &Sheet,
    (specimen, simulated): (&Label, bool),
    options: &PlanOptions,
    file: Option<Plain>,
) -> Result<Source, JobError> {
    let (space, range) = (options.space.as_deref(), options.range.as_deref());
    let may_be_simulated = simulated || options.accept_simulated;
    let mut take = options.take.clone();
    let Some(image) = options.image.as_deref() else {
        let (image, taken) = before_last_write(shelf, specimen)?;
        take.extend(taken);
        let name = ImageName { image: &image, space: None, range: None };
        let kept = kept_image(shelf, name, specimen, may_be_simulated)?;
        let what = format!("back to what {} holds, as before the last write", kept.id);
        let source = of_capture(desk, shelf, sheet, kept, name, what)?;
        return finish(desk, sheet, source, take);
    };
    let name = ImageName { image, space, range };
    let source = if image == BLANK {
        blank(sheet, name)?
    } else if let Some(file) = file {
        of_file(shelf, sheet, name, file, may_be_simulated)?
    } else {
        let kept = kept_image(shelf, name, specimen, may_be_simulated)?;
        caution_of_mixture(desk, &kept);
        let what = format!("the contents of {}", kept.id);
        of_capture(desk, shelf, sheet, kept, name, what)?
    };
    finish(desk, sheet, source, take)
}

/// The capture from before the last write, and the kept zones that this write took.
fn before_last_write(shelf: &Shelf, specimen: &Label) -> Result<(String, Vec<String>), JobError> {
    let Some(last) = shelf.last_write(specimen)? else {
        return Err(JobError::Usage(format!(
            "{specimen} was never written with this shelf, so there is nothing to go back to; name \
             an image, or a capture from {SHELF_LIST}"
        )));
    };
    let take = match &last.plan {
        Some(code) => shelf.plan(code)?.plan.take,
        None => Vec::new(),
    };
    Ok((last.backup.to_string(), take))
}

fn of_capture(
    desk: &Desk<'_>,
    shelf: &Shelf,
    sheet: &Sheet,
    kept: Capture,
    name: ImageName<'_>,
    what: String,
) -> Result<Source, JobError> {
    refuse_other_kind(sheet, &kept)?;
    let lacks = kept.record.lacks();
    if let Some(agreement) = &lacks.agreement {
        return Err(JobError::Safety(format!(
            "{} did not agree with itself ({agreement}): such a copy is not put onto a module; \
             name another one",
            kept.id
        )));
    }
    if let Some(words) = &lacks.words {
        desk.note(format!("{} is a copy of a part of its module: {words}", kept.id));
    }
    let content = shelf.content(&kept.id)?;
    let Expected { holds, parts } = kept_parts(sheet, &kept, name.space, &content)?;
    let image = ImageRecord {
        name: kept.id.to_string(),
        sha256: kept.record.sha256.clone(),
        capture: Some(kept.id.clone()),
        specimen: Some(kept.record.specimen.clone()),
    };
    Ok(Source { what, image, holds, parts, take: Vec::new(), kept: Some(kept) })
}

/// A file; if it is the content of a capture on the shelf, all that is known of that one counts.
fn of_file(
    shelf: &Shelf,
    sheet: &Sheet,
    name: ImageName<'_>,
    file: Plain,
    may_be_simulated: bool,
) -> Result<Source, JobError> {
    let (expected, bytes) = file_parts(sheet, name, file)?;
    let sha256 = sha256_hex(&bytes);
    let alike = shelf.list()?.captures.into_iter().find(|summary| summary.sha256 == sha256);
    let kept = alike.and_then(|alike| shelf.get(&alike.id.to_string(), None).ok());
    if let Some(kept) = &kept {
        refuse_other_kind(sheet, kept)?;
        if kept.record.simulated && !may_be_simulated {
            return Err(JobError::Safety(format!(
                "{} is the content of {}, which was taken from the simulated bench, and this is a \
                 real module; if that is meant, {ACCEPT}",
                one_line(name.image),
                kept.id
            )));
        }
    }
    let image = ImageRecord {
        name: name.image.to_owned(),
        sha256,
        capture: kept.as_ref().map(|kept| kept.id.clone()),
        specimen: kept.as_ref().map(|kept| kept.record.specimen.clone()),
    };
    let what = format!("the contents of {}", one_line(name.image));
    let Expected { holds, parts } = expected;
    Ok(Source { what, image, holds, parts, take: Vec::new(), kept })
}

/// Ones for every word of what was asked for.
fn blank(sheet: &Sheet, name: ImageName<'_>) -> Result<Source, JobError> {
    let Expected { holds, parts } = blank_parts(sheet, name)?;
    let bytes = holds.iter().map(|(_, part)| part.bytes()).sum::<u64>();
    let image = ImageRecord {
        name: BLANK.into(),
        sha256: sha256_hex(&vec![0xFF; bytes as usize]),
        capture: None,
        specimen: None,
    };
    let (what, take) = ("blank words".into(), Vec::new());
    Ok(Source { what, image, holds, parts, take, kept: None })
}

/// Leaves out what no write touches, and looks at the zones that are to be taken.
fn finish(
    desk: &Desk<'_>,
    sheet: &Sheet,
    source: Source,
    take: Vec<String>,
) -> Result<Source, JobError> {
    let is_flash = |index: usize| sheet.spaces[index].kind == Kind::Flash;
    let mut told = Vec::new();
    for (index, part) in source.holds.iter().filter(|(index, _)| !is_flash(*index)) {
        if !told.contains(index) {
            told.push(*index);
            let kind = sheet.spaces[*index].kind.word();
            desk.note(format!(
                "{} is {kind}: a plan is for flash, and the image's words of it are left out",
                part.space
            ));
        }
    }
    let Source { what, image, mut holds, mut parts, kept, .. } = source;
    holds.retain(|(index, _)| is_flash(*index));
    parts.retain(|part| is_flash(part.space));
    if parts.is_empty() {
        return Err(JobError::Usage(format!(
            "nothing of {} is for flash that may be written, and a plan is for nothing else",
            one_line(image.name)
        )));
    }
    let take = taken(sheet, &holds, take)?;
    refuse_all_kept(sheet, &parts, &image, &take)?;
    let mut spaces: Vec<_> = holds.iter().map(|(_, part)| part.space.as_str()).collect();
    spaces.dedup();
    let what = format!("{what} into {}", spaces.join(", "));
    Ok(Source { what, image, holds, parts, take, kept })
}

/// Refuses an image every word of which lies in zones that keep theirs: nothing of it can get onto
/// the module, whatever that holds.
fn refuse_all_kept(
    sheet: &Sheet,
    parts: &[VerifyPart],
    image: &ImageRecord,
    take: &[String],
) -> Result<(), JobError> {
    let left = |VerifyPart { space, part, .. }: &VerifyPart| {
        let start = part.base.plus(part.first.0);
        sheet.pieces(*space, start, part.words, |zone| is_kept(zone, take)).is_empty()
    };
    if !parts.iter().all(left) {
        return Ok(());
    }
    let holds: Vec<_> = parts.iter().map(|part| (part.space, part.part.clone())).collect();
    let keep = |zone: &Zone| zone.keep && is_kept(zone, take);
    let mut why = zone_notes(sheet, &holds, keep, "keeps the words of this module");
    why.extend(zone_notes(sheet, &holds, |zone| zone.live, "changes by itself"));
    let named = sheet.zones.iter().filter(|zone| {
        keep(zone) && !zone.live && !zone_notes(sheet, &holds, |one| one == *zone, "").is_empty()
    });
    let named: Vec<_> = named.map(|zone| format!("{TAKE} {}", zone.name)).collect();
    let next = match named.as_slice() {
        [] => "name another image".into(),
        named => format!("{} takes from the image what is meant to go there", named.join(" ")),
    };
    Err(JobError::Safety(format!(
        "nothing of {} can get onto the module: {}; {next}",
        one_line(&image.name),
        why.join("; ")
    )))
}

/// The names of the zones to be taken, each of which must be one of words that the image holds.
fn taken(
    sheet: &Sheet,
    holds: &[(usize, Part)],
    mut take: Vec<String>,
) -> Result<Vec<String>, JobError> {
    take.sort();
    take.dedup();
    for name in &take {
        let zones: Vec<_> = sheet.zones.iter().filter(|zone| zone.name == *name).collect();
        if zones.is_empty() {
            let kept = sheet.zones.iter().filter(|zone| zone.keep).map(|zone| zone.name.as_str());
            let kept: Vec<_> = kept.collect();
            return Err(JobError::Usage(format!(
                "{TAKE} {name}: the sheet of {} has no such zone; it keeps {}",
                sheet.name,
                if kept.is_empty() { "none".into() } else { kept.join(", ") }
            )));
        }
        if let Some(zone) = zones.iter().find(|zone| zone.keep_off || zone.live) {
            let why = if zone.keep_off {
                "is never to be touched (keep_off)"
            } else {
                "changes by itself (live)"
            };
            return Err(JobError::Safety(format!(
                "{TAKE} {name}: the sheet of {} says that this zone {why}",
                sheet.name
            )));
        }
        let held = holds.iter().any(|(index, part)| {
            let first = u64::from(part.base.0) + u64::from(part.first.0);
            let end = first + u64::from(part.words);
            zones.iter().any(|zone| {
                zone.space == *index
                    && u64::from(zone.start.0) < end
                    && u64::from(zone.last().0) >= first
            })
        });
        if !held {
            return Err(JobError::Usage(format!(
                "{TAKE} {name}: the image holds no word of that zone"
            )));
        }
    }
    Ok(take)
}
