//! Erase: sectors that lie wholly inside a range, by a plan like any other.

use super::begun_at::Port;
use super::capture_job::no_specimen;
use super::chip_files::{catalogue, chip_files};
use super::parts::{Asked, parts, read_range};
use super::plan_job::{Looked, Source, Subject, assemble, look};
use super::sheets::refuse_to_identify;
use super::started::ask_started;
use super::unsettled::unsettled;
use super::wanted::{Before, Ready, label, ready};
use super::write_job::{Here, carry_out, confirm_label};
use crate::bus::WordAddress;
use crate::image::{RANGE, SPACE, counted};
use crate::jobs::{BLANK, Desk, Ending, JobError, SectorNow, VerifyPart, WriteReport, ways};
use crate::module::{Kind, Sheet};
use crate::shelf::{ImageRecord, Part, Shelf, sha256_hex};
use std::path::PathBuf;

/// What to erase.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct EraseOptions {
    /// The space; the only flash of the sheet without it.
    pub space: Option<String>,
    /// A sector, `FIRST-LAST`, or `0xADDR+LEN` in words.
    pub range: String,
    /// The label of the module, typed by whoever wants this.
    pub confirm: String,
    /// Chip files that add to the part list.
    pub chips: Vec<PathBuf>,
}

/// Sectors that were asked for.
enum Wanted {
    /// By their numbers, both included.
    Numbers(u32, u32),
    /// Those that lie wholly inside, words on the bus.
    Inside(WordAddress, u32),
}

impl Wanted {
    fn read(range: &str) -> Result<Self, JobError> {
        if range.contains('+') {
            return read_range(range).map(|(start, words)| Self::Inside(start, words));
        }
        let (first, last) = range.split_once('-').unwrap_or((range, range));
        match (first.trim().parse(), last.trim().parse()) {
            (Ok(first), Ok(last)) if first <= last => Ok(Self::Numbers(first, last)),
            _ => Err(JobError::Usage(format!(
                "{RANGE} {range}: expected a sector such as 4, sectors such as 4-7, or words such \
                 as 0x8000+0x4000"
            ))),
        }
    }

    /// True if the sector is to be erased; an error names one that lies inside only in part.
    fn takes(&self, number: u32, first: WordAddress, words: u32) -> Result<bool, String> {
        match *self {
            Self::Numbers(from, to) => Ok((from..=to).contains(&number)),
            Self::Inside(start, length) => {
                let (from, to) = (u64::from(start.0), u64::from(start.0) + u64::from(length));
                let (begin, end) = (u64::from(first.0), u64::from(first.0) + u64::from(words));
                if from <= begin && end <= to {
                    Ok(true)
                } else if begin < to && from < end {
                    Err(format!(
                        "sector {number} ({first}+0x{words:X}) lies in the range only in part"
                    ))
                } else {
                    Ok(false)
                }
            }
        }
    }
}

/// Erases the sectors wholly inside a range, with backup, journal and proof as any write.
pub(super) async fn erase_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    options: &EraseOptions,
) -> Result<(WriteReport, Ending), JobError> {
    let wanted = Wanted::read(&options.range)?;
    label(&options.confirm)?;
    let chip_files = chip_files(&options.chips)?;
    let catalogue = catalogue(&chip_files)?;
    let port = Port::of(&before);
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    confirm_label(&specimen, &options.confirm, |confirmed| {
        format!("this is {specimen}, and {confirmed} was confirmed; read the label on the module")
    })?;
    ask_started(desk, shelf, &specimen);
    let unsettled = unsettled(shelf, &specimen)?;
    refuse_to_identify(&sheet)?;
    let index = flash_space(&sheet, options.space.as_deref())?;
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
    let looked = look(&subject, access.clone(), keep).await?;
    let source = blank_sectors(&subject, &looked, index, &wanted)?;
    let (report, _) = assemble(&subject, &looked, source)?;
    let Some(code) = report.code else {
        return Err(JobError::Usage(format!(
            "nothing to erase: every sector wholly inside {} is blank already",
            options.range
        )));
    };
    let plan = shelf.plan(&code.parse()?)?;
    let here = Here { desk, shelf, port, hello, sheet, access, simulated, specimen };
    carry_out(&here, &catalogue, &plan, None, || ()).await
}

fn flash_space(sheet: &Sheet, name: Option<&str>) -> Result<usize, JobError> {
    let flash = || {
        let all = sheet.spaces.iter().enumerate();
        all.filter(|(_, space)| space.kind == Kind::Flash)
    };
    let found: Vec<_> = match name {
        Some(name) => flash().filter(|(_, space)| space.name == name).collect(),
        None => flash().collect(),
    };
    if let [(index, _)] = found.as_slice() {
        return Ok(*index);
    }
    if flash().next().is_none() {
        return Err(JobError::Usage(format!(
            "nothing can be erased here: the sheet of {} has no flash",
            sheet.name
        )));
    }
    let names: Vec<_> = flash().map(|(_, space)| space.name.as_str()).collect();
    Err(JobError::Usage(format!(
        "which flash is meant? Name one with {SPACE}; the sheet of {} has {}",
        sheet.name,
        names.join(", ")
    )))
}

/// Ones for the sectors that are to be erased; what is not touched is named.
fn blank_sectors(
    subject: &Subject<'_, '_>,
    looked: &Looked,
    index: usize,
    wanted: &Wanted,
) -> Result<Source, JobError> {
    let Subject { sheet, desk, .. } = *subject;
    let space = &sheet.spaces[index];
    let ways = ways(space, sheet.rail, &looked.found.spaces[index], subject.catalogue)
        .map_err(|why| JobError::Safety(format!("{} cannot be erased: {why}", space.name)))?;
    if let Wanted::Numbers(_, last) = *wanted
        && last as usize >= ways.sectors.len()
    {
        return Err(JobError::Usage(format!(
            "there is no sector {last}: {} has the sectors 0-{}. Nothing was changed",
            space.name,
            ways.sectors.len().saturating_sub(1)
        )));
    }
    let whole = parts(sheet, Asked { space: Some(&space.name), range: None })?;
    let mut chosen = Vec::new();
    for (number, SectorNow { first, words, .. }) in ways.sectors.iter().enumerate() {
        let at = space.base.plus(*first);
        match wanted.takes(number as u32, at, *words) {
            Ok(true) => {}
            Ok(false) => continue,
            Err(why) => {
                desk.caution(format!("not touched: {why}"));
                continue;
            }
        }
        let pieces =
            sheet.pieces(index, at, *words, |zone| zone.keep || zone.keep_off || zone.live);
        if pieces.iter().map(|(_, words)| words).sum::<u32>() < *words {
            desk.caution(format!(
                "not touched: sector {number} ({at}+0x{words:X}) holds words of a zone that the \
                 sheet keeps"
            ));
            continue;
        }
        chosen.push((WordAddress(*first), *words));
    }
    let Some((_, like)) = whole.first().filter(|_| !chosen.is_empty()) else {
        return Err(JobError::Usage(format!(
            "no sector of {} that may be erased lies wholly inside the range; it has {}",
            space.name,
            counted(ways.sectors.len() as u64, "sector")
        )));
    };
    let holds: Vec<_> = chosen
        .into_iter()
        .map(|(first, words)| (index, Part { first, words, ..like.clone() }))
        .collect();
    let blank = |(space, part): &(usize, Part)| VerifyPart {
        space: *space,
        part: part.clone(),
        expected: vec![0xFF; part.bytes() as usize],
    };
    let parts: Vec<_> = holds.iter().map(blank).collect();
    let all: Vec<u8> = parts.iter().flat_map(|part| part.expected.clone()).collect();
    Ok(Source {
        what: format!("{} of {} blank", counted(holds.len() as u64, "sector"), space.name),
        image: ImageRecord {
            name: BLANK.into(),
            sha256: sha256_hex(&all),
            capture: None,
            specimen: None,
        },
        holds,
        parts,
        take: Vec::new(),
        kept: None,
    })
}
