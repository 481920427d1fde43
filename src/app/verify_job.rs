//! Verify, from an image's name to the answer.

use super::capture_job::no_specimen;
use super::image::{
    Expected, ImageName, blank_parts, file_parts, kept_image, kept_parts, open_image,
};
use super::parts::{keep_off_notes, zone_notes};
use super::started::ask_started;
use super::unsettled::caution_of_mixture;
use super::wanted::{Before, Ready, ready};
use crate::jobs::{
    BLANK, Desk, Ending, JobError, KeptDiffers, KeptZone, VerifyReport, is_kept, verify,
    with_rail_told,
};
use crate::module::{Sheet, Zone};
use crate::shelf::{HistoryLine, Label, Shelf};
use jiff::Timestamp;

/// Compares the module with `image`.
pub(super) async fn verify_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    image: ImageName<'_>,
    accept_simulated: bool,
) -> Result<(VerifyReport, Ending), JobError> {
    let from_file = open_image(image.image)?;
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    ask_started(desk, shelf, &specimen);
    let (expected, kept) = if image.image == BLANK {
        (blank_parts(&sheet, image)?, None)
    } else if let Some(file) = from_file {
        (file_parts(&sheet, image, file)?.0, None)
    } else {
        let kept = kept_image(shelf, image, &specimen, simulated || accept_simulated)?;
        caution_of_mixture(desk, &kept);
        let content = shelf.content(&kept.id)?;
        let lacks = kept.record.lacks();
        if lacks.agreement.is_some() {
            desk.caution(format!("{}, which the module is compared with: {lacks}", kept.id));
        }
        let parts = kept_parts(&sheet, &kept, image.space, &content)?;
        (parts, Some((kept.id, kept.record.specimen)))
    };
    // The id, not what was asked for: `@last` means another one tomorrow.
    let name = kept.as_ref().map_or_else(|| image.image.to_owned(), |(id, _)| id.to_string());
    let other = kept.as_ref().map(|(_, of)| of).filter(|of| **of != specimen);
    if let Some(other) = other {
        desk.caution(format!("{name} is a copy of {other}, and the module here is {specimen}"));
    }
    say_what_is_left_out(desk, &sheet, &expected)?;
    let kept_zones = kept_zones(desk, shelf, &sheet, &specimen);
    let (mut report, ending) = with_rail_told(desk, &sheet, &hello, access, async |powered| {
        keep.now();
        verify(desk, &hello, powered, &name, &expected.parts, kept_zones).await
    })
    .await?;
    report.copy_of = other.map(ToString::to_string);
    // The verdict counts, also where it cannot be written down.
    let line = HistoryLine {
        time: Timestamp::now(),
        specimen,
        event: "verified".into(),
        capture: kept.map(|(id, _)| id),
        sha256: None,
        image_sha256: None,
        bytes: Some(report.bytes),
        simulated,
        text: report.to_string().lines().next().unwrap_or_default().into(),
    };
    if let Err(error) = shelf.remember(&line) {
        desk.note(format!("the history has no line of this: {error}"));
    }
    Ok((report, ending))
}

/// The zones that the last write of a module kept, if that came to its good end with this sheet.
///
/// What differs there only says that the plan did what it said.
fn kept_zones(desk: &Desk<'_>, shelf: &Shelf, sheet: &Sheet, specimen: &Label) -> Vec<KeptZone> {
    let last_plan = || {
        let told = shelf.last_journal(specimen)?;
        let done = told.filter(|told| told.ended() == Some(true));
        done.map(|told| shelf.plan(&told.begin.plan)).transpose()
    };
    let stored = match last_plan() {
        Ok(Some(stored)) if stored.plan.sheet.sha256 == sheet.sha256() => stored,
        Ok(_) => return Vec::new(),
        Err(error) => {
            desk.note(format!("of zones that the last write kept nothing is known: {error}"));
            return Vec::new();
        }
    };
    let kept = sheet.zones.iter().filter(|zone| zone.keep && is_kept(zone, &stored.plan.take));
    let one = |zone: &Zone| {
        let name = &sheet.spaces[zone.space].name;
        let of = stored.plan.spaces.iter().find(|of| of.name == *name)?;
        let size = of.width.bytes();
        let from = zone.start.0.checked_sub(of.base.0)? as usize * size;
        let holds = stored.target_of(of).get(from..from + zone.words as usize * size)?.to_vec();
        let told = KeptDiffers {
            plan: stored.code.to_string(),
            space: name.clone(),
            zone: zone.name.clone(),
            address: zone.start.0,
            words: zone.words,
            differing: 0,
        };
        Some(KeptZone { told, holds })
    };
    kept.filter_map(one).collect()
}

/// Names the zones that are not compared; it is an error if nothing else is there.
fn say_what_is_left_out(
    desk: &Desk<'_>,
    sheet: &Sheet,
    expected: &Expected,
) -> Result<(), JobError> {
    let live = "changes by itself: it is not compared";
    let mut notes = keep_off_notes(sheet, expected.holds.iter().map(|(space, _)| *space));
    notes.extend(zone_notes(sheet, &expected.holds, |zone| zone.live, live));
    for note in notes {
        desk.note(note);
    }
    if expected.parts.is_empty() {
        return Err(JobError::Usage(format!(
            "nothing is left to compare: every word of this image lies in zones that the sheet of \
             {} calls live or keep_off",
            sheet.name
        )));
    }
    Ok(())
}
