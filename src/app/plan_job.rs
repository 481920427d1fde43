//! Plan, from an image's name to a plan on the shelf.

mod assemble;
mod backup;
mod fit;
mod look;
mod source;

pub(super) use assemble::assemble;
pub(super) use look::{Looked, Subject, look};
pub(super) use source::Source;

use super::capture_job::no_specimen;
use super::chip_files::{catalogue, chip_files};
use super::image::open_image;
use super::sheets::refuse_to_identify;
use super::unsettled::unsettled;
use super::wanted::{Before, Ready, ready};
use crate::jobs::{BLANK, Desk, Ending, JobError, PlanReport};
use crate::shelf::Shelf;
use source::find_source;
use std::path::PathBuf;

/// What to plan.
#[derive(Clone, Debug, Default)]
pub struct PlanOptions {
    /// A path, a shelf id, `@last`, or `@blank` (every word ones); none to go back.
    pub image: Option<String>,
    /// Only this space.
    pub space: Option<String>,
    /// A file, or `@blank`, is of only this range of it, as people write it.
    pub range: Option<String>,
    /// Kept zones that are taken from the image all the same.
    pub take: Vec<String>,
    /// An image from the simulated bench may stand for a real module.
    pub accept_simulated: bool,
    /// Chip files that add to the part list.
    pub chips: Vec<PathBuf>,
}

/// Plans what writing an image would do, and keeps the plan on the shelf.
pub(super) async fn plan_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    options: &PlanOptions,
) -> Result<(PlanReport, Ending), JobError> {
    let chip_files = chip_files(&options.chips)?;
    let catalogue = catalogue(&chip_files)?;
    let file = match options.image.as_deref() {
        Some(image) if image != BLANK => open_image(image)?,
        _ => None,
    };
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    refuse_to_identify(&sheet)?;
    let unsettled = unsettled(shelf, &specimen)?;
    if let Some(unsettled) = &unsettled {
        desk.caution(unsettled.to_string());
    }
    let source = find_source(desk, shelf, &sheet, (&specimen, simulated), options, file)?;
    let subject = Subject {
        sheet: &sheet,
        hello: &hello,
        specimen: &specimen,
        simulated,
        shelf,
        desk,
        unsettled: unsettled.as_ref(),
        chip_files: &chip_files,
        catalogue: &catalogue,
    };
    let looked = look(&subject, access, keep).await?;
    assemble(&subject, &looked, source)
}
