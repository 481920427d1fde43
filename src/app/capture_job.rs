//! Capture, from names to the copy on the shelf.

use super::CaptureOptions;
use super::parts::{Asked, keep_off_notes, parts, zone_notes};
use super::started::ask_started;
use super::unsettled::unsettled;
use super::wanted::{Before, Ready, ready};
use crate::image::{SPECIMEN, one_line};
use crate::jobs::{
    CaptureReport, CaptureRequest, Desk, Ending, JobError, begin, capture, with_rail_told,
};
use crate::shelf::Shelf;
use std::path::Path;

/// Captures what `options` say.
pub(super) async fn capture_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    options: &CaptureOptions,
) -> Result<(CaptureReport, Ending), JobError> {
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    ask_started(desk, shelf, &specimen);
    let asked = Asked { space: options.space.as_deref(), range: options.range.as_deref() };
    let parts = parts(&sheet, asked)?;
    for note in keep_off_notes(&sheet, parts.iter().map(|(space, _)| *space)) {
        desk.note(note);
    }
    let live = "changes by itself: it is captured once, and no pass is compared with another";
    for note in zone_notes(&sheet, &parts, |zone| zone.live, live) {
        desk.note(note);
    }
    if let Some(out) = &options.out {
        out_is_free(out, parts.iter().map(|(_, part)| part.bytes()).sum())?;
    }
    let identified = shelf.last_identity(&specimen, &sheet.sha256())?;
    let unsettled = unsettled(shelf, &specimen).ok().flatten().map(|of| of.note());
    let note: Vec<_> =
        Some(options.note.clone()).filter(|note| !note.is_empty()).into_iter().collect();
    let request = CaptureRequest {
        specimen,
        simulated,
        parts,
        passes: options.passes.max(2),
        note: note.into_iter().chain(unsettled).collect::<Vec<_>>().join("; "),
        identified,
    };
    let store = begin(desk, &sheet, shelf, &request)?;
    let (report, ending) = with_rail_told(desk, &sheet, &hello, access, async |powered| {
        keep.now();
        capture(desk, &sheet, &hello, powered, &request, store).await
    })
    .await?;
    if let Some(out) = &options.out {
        let id = shelf.find(&report.id, None)?;
        shelf.export(&id, out).map_err(|error| {
            if error.is_usage() {
                JobError::Usage(format!("{error}. The capture itself is on the shelf as {id}"))
            } else {
                desk.note(format!("the capture itself is on the shelf as {id}"));
                error.into()
            }
        })?;
    }
    Ok((report, ending))
}

/// A file that cannot be the copy is refused before the module is touched.
fn out_is_free(out: &Path, bytes: u64) -> Result<(), JobError> {
    // The folder of a bare file name is the present one.
    let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty());
    match std::fs::metadata(out) {
        Ok(there) if there.is_dir() => Err(JobError::Usage(format!(
            "{} is a folder; name a file for the copy",
            one_line(out.display())
        ))),
        Ok(there) if !there.is_file() => Err(JobError::Usage(format!(
            "{} is a device, pipe or socket; name a plain file for the copy",
            one_line(out.display())
        ))),
        Err(_) if folder.is_some_and(|folder| !folder.is_dir()) => Err(JobError::Usage(format!(
            "{}: there is no such folder; make it, or name another file",
            one_line(out.display())
        ))),
        Ok(there) if there.len() != bytes => Err(JobError::Usage(format!(
            "{} is there and holds {} bytes, the copy will have {bytes}; it is not replaced: name \
             another file",
            one_line(out.display()),
            there.len()
        ))),
        _ => Ok(()),
    }
}

pub(super) fn no_specimen() -> JobError {
    JobError::Usage(format!(
        "which individual module is this? Captures belong to specimens: name its label, such as \
         {SPECIMEN} \"TG-7 #0417\" (kind, and what is written on it)"
    ))
}
