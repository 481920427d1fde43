//! Identify, from names to the report.

use super::capture_job::no_specimen;
use super::chip_files::{catalogue, chip_files};
use super::sheets::refuse_to_identify;
use super::started::ask_started;
use super::unsettled::unsettled;
use super::wanted::{Before, Ready, ready};
use crate::bus::WordAddress;
use crate::chips::Family;
use crate::jobs::{
    Arrival, CaptureRequest, Desk, Ending, IdentifyReport, IdentifyRequest, JobError, Keep,
    Powered, Twin, begin, capture, caution_locked, identify, whole, with_rail_told,
};
use crate::module::{Kind, Sheet, Space};
use crate::shelf::{BLOCK_BYTES, Capture, HistoryLine, Identified, IdentifiedSpace, Label, Shelf};
use crate::wire::HelloReply;
use jiff::Timestamp;
use std::cmp::Reverse;
use std::path::PathBuf;

/// How to identify.
#[derive(Clone, Debug, Default)]
pub struct IdentifyOptions {
    /// A space that the sheet does not call flash and that is to be asked all the same.
    pub probe: Option<String>,
    /// Chip files that add to the part list.
    pub chips: Vec<PathBuf>,
}

/// Passes of a capture that is taken before commands are sent.
pub(super) const PASSES: u32 = 6;

/// Identifies what is on the module.
pub(super) async fn identify_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    options: &IdentifyOptions,
) -> Result<(IdentifyReport, Ending), JobError> {
    let catalogue = catalogue(&chip_files(&options.chips)?)?;
    let Ready { hello, sheet, mut access, simulated, specimen, keep } = ready(desk, before).await?;
    if let Some(label) = &specimen {
        ask_started(desk, shelf, label);
    }
    refuse_to_identify(&sheet)?;
    let probe = options.probe.as_deref().map(|name| probed(&sheet, name)).transpose()?;
    // Such a space is captured first, and a capture belongs to a specimen.
    if specimen.is_none() && (probe.is_some() || sheet.spaces.iter().any(is_unsure)) {
        return Err(no_specimen());
    }
    let unsettled = specimen.as_ref().and_then(|label| unsettled(shelf, label).ok()?);
    let in_doubt = unsettled.map(|unsettled| unsettled.words(&sheet)).unwrap_or_default();
    let request = IdentifyRequest {
        specimen: specimen.as_ref().map(ToString::to_string),
        simulated,
        probe,
        twins: twins(desk, shelf, &sheet, simulated),
        in_doubt,
    };
    caution_locked(desk, &mut access).await?;
    let (report, ending) = with_rail_told(desk, &sheet, &hello, access, async |powered| {
        keep.now();
        let specimen = specimen.as_ref();
        let mut keeper = Keeper { desk, sheet: &sheet, hello: &hello, shelf, specimen, simulated };
        identify(desk, &sheet, &hello, powered, &catalogue, request, &mut keeper).await
    })
    .await?;
    desk.show(&Arrival::Identified(&report));
    if let Some(specimen) = specimen {
        remember(desk, shelf, &sheet, specimen, &report);
    }
    Ok((report, ending))
}

/// Such a space is captured before commands are sent to it.
pub(super) fn is_unsure(space: &Space) -> bool {
    space.kind == Kind::Flash && matches!(space.family, None | Some(Family::Page))
}

fn probed(sheet: &Sheet, name: &str) -> Result<usize, JobError> {
    let Some((index, space)) = sheet.space(name) else {
        let names: Vec<_> = sheet.spaces.iter().map(|space| space.name.as_str()).collect();
        return Err(JobError::Usage(format!(
            "--probe {name}: sheet {} has no such space; it has {}",
            sheet.name,
            names.join(", ")
        )));
    };
    if space.kind == Kind::Rom {
        return Err(JobError::Safety(format!(
            "the sheet calls {name} a rom, so nothing is ever written there; if its chip may be \
             flash, say kind = \"flash\" in the sheet"
        )));
    }
    Ok(index)
}

/// For each space the captures that hold all of it, latest first.
pub(super) fn twins(
    desk: &Desk<'_>,
    shelf: &Shelf,
    sheet: &Sheet,
    simulated: bool,
) -> Vec<Vec<Twin>> {
    let mut all = vec![Vec::new(); sheet.spaces.len()];
    let mut captures = match shelf.list() {
        Ok(listing) => listing.captures,
        Err(error) => {
            desk.note(format!("the contents are not compared with the shelf: {error}"));
            return all;
        }
    };
    captures.sort_by_key(|summary| Reverse((summary.time, summary.id.clone())));
    for summary in captures.iter().filter(|summary| summary.simulated == simulated) {
        // One that cannot be read is told of by `shelf check`.
        let Ok(capture) = shelf.get(&summary.id.to_string(), None) else { continue };
        for (space, twins) in sheet.spaces.iter().zip(&mut all) {
            twins.extend(twin(&capture, space));
        }
    }
    all
}

/// What a capture says of a whole space; `None` if it holds less of it, or something else.
fn twin(capture: &Capture, space: &Space) -> Option<Twin> {
    let record = &capture.record;
    let part = record.spaces.iter().find(|part| {
        part.name == space.name
            && (part.width, part.base) == (space.width, space.base)
            && (part.first, part.words) == (WordAddress(0), space.words)
    })?;
    if record.block_bytes != BLOCK_BYTES {
        return None;
    }
    let sums = part.crc32.iter().map(|sum| u32::from_str_radix(sum, 16));
    Some(Twin {
        name: format!("{} ({})", capture.id, record.specimen),
        agreed: part.blocks_unsettled == 0 && part.unsteady.words.iter().all(|word| word.settled),
        crc32: sums.collect::<Result<_, _>>().ok()?,
    })
}

/// Takes captures of single spaces.
pub(super) struct Keeper<'a, 'd> {
    pub desk: &'a Desk<'d>,
    pub sheet: &'a Sheet,
    pub hello: &'a HelloReply,
    pub shelf: &'a Shelf,
    pub specimen: Option<&'a Label>,
    pub simulated: bool,
}

impl Keep for Keeper<'_, '_> {
    async fn keep(&mut self, powered: &Powered, index: usize) -> Result<Twin, JobError> {
        let space = &self.sheet.spaces[index];
        self.desk.note(format!("{} is captured before any command is sent to it", space.name));
        let request = CaptureRequest {
            specimen: self.specimen.cloned().ok_or_else(no_specimen)?,
            simulated: self.simulated,
            parts: vec![(index, whole(space))],
            passes: PASSES,
            note: "taken before identification".into(),
            identified: None,
        };
        let store = begin(self.desk, self.sheet, self.shelf, &request)?;
        let (report, ending) =
            capture(self.desk, self.sheet, self.hello, powered, &request, store).await?;
        let kept = self.shelf.get(&report.id, None)?;
        let twin = twin(&kept, space).ok_or_else(|| {
            JobError::Usage(format!("the capture {} does not hold all of {}", kept.id, space.name))
        })?;
        Ok(Twin { agreed: ending == Ending::Good, ..twin })
    }
}

/// What was found goes beside the captures; that it cannot be written down changes nothing of it.
pub(super) fn remember(
    desk: &Desk<'_>,
    shelf: &Shelf,
    sheet: &Sheet,
    specimen: Label,
    report: &IdentifyReport,
) {
    let time = Timestamp::now();
    let asked = report.spaces.iter().filter(|space| space.asked.is_some());
    let spaces = asked.map(|space| IdentifiedSpace {
        name: space.name.clone(),
        family: match &space.flash[..] {
            [flash] if flash.chips.len() == space.chips.len() => Some(flash.asking.way.family),
            _ => None,
        },
        chips: space.chips.iter().map(|chip| chip.record(Some(time))).collect(),
    });
    let identified = Identified {
        time,
        specimen: specimen.clone(),
        sheet_sha256: sheet.sha256(),
        simulated: report.simulated,
        spaces: spaces.collect(),
    };
    let chips = report.spaces.iter().flat_map(|space| &space.chips).filter(|chip| chip.answered);
    let said: Vec<_> = chips.map(|chip| format!("{} {}", chip.reference, chip.what())).collect();
    let line = HistoryLine {
        time,
        specimen,
        event: "identified".into(),
        capture: None,
        sha256: None,
        image_sha256: None,
        bytes: None,
        simulated: report.simulated,
        text: said.join("; "),
    };
    let kept = shelf.keep_identity(&identified).and_then(|()| shelf.remember(&line));
    if let Err(error) = kept {
        desk.note(format!("the identification could not be written down: {error}"));
    }
}
