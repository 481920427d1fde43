//! The jobs that commands and the workbench start.

use super::wanted::{Before, Ready, Wanted, ready};
use super::{Event, Known, Outcome};
use crate::jobs::{
    CaptureReport, CaptureRequest, Desk, Ending, JobError, VerifyPart, VerifyReport, begin,
    capture, run, verify, with_rail,
};
use crate::link::{Cancel, Client, Port, RatePlan, Session, drive};
use crate::module::{Sheet, parse_range};
use crate::shelf::{Capture, OsDisk, Part, Shelf};
use crate::sim::BenchDescription;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a job runs on.
pub struct Machine<'a> {
    /// The open port.
    pub port: &'a mut dyn Port,
    /// Which rates to try.
    pub plan: RatePlan,
    /// By what the adapter is remembered.
    pub identity: &'a str,
    /// The simulated bench inside this program.
    pub bench: Option<&'a BenchDescription>,
    /// What this machine remembers.
    pub known: &'a mut Known,
    /// Asked to stop through this.
    pub cancel: Cancel,
    /// The folder of captures.
    pub shelf: &'a Path,
}

/// How to capture.
#[derive(Clone, Debug)]
pub struct CaptureOptions {
    /// Only this space.
    pub space: Option<String>,
    /// Only this range of it, as people write it.
    pub range: Option<String>,
    /// Passes at most.
    pub passes: u32,
    /// Also copy the content to this file.
    pub out: Option<PathBuf>,
    /// Said by the person who takes it.
    pub note: String,
}

impl Default for CaptureOptions {
    fn default() -> Self {
        Self { space: None, range: None, passes: 6, out: None, note: String::new() }
    }
}

/// A job.
#[derive(Clone, Debug)]
pub enum Job {
    /// Read to agreement and keep the copy.
    Capture(CaptureOptions),
    /// Compare the module with an image.
    Verify {
        /// A path, a shelf id, or `@last`.
        image: String,
        /// Only this space.
        space: Option<String>,
        /// An image from the simulated bench may stand for a real module.
        accept_simulated: bool,
    },
}

/// Runs `job` to its one outcome and tells `sink` what happens.
pub fn run_job(
    machine: Machine<'_>,
    wanted: &Wanted,
    job: &Job,
    sink: &mut dyn FnMut(&Event),
) -> Outcome {
    let first_rate = if machine.plan.none {
        None
    } else {
        machine.plan.fixed.or(machine.plan.remembered).or(Some(crate::bus::Baud(115_200)))
    };
    // A session number is random and never 0, which means "no session" on the wire.
    let client = Client::new(Session::new(fastrand::u32(1..), first_rate));
    let desk = Desk::new(client.clone(), machine.cancel.clone(), sink);
    let before = Before {
        wanted,
        plan: machine.plan,
        identity: machine.identity,
        known: machine.known,
        bench: machine.bench,
    };
    let shelf = machine.shelf;
    let whole = run(&desk, async {
        match job {
            Job::Capture(options) => {
                let (report, ending) = capture_job(&desk, before, shelf, options).await?;
                Ok((Report::Capture(Box::new(report)), ending))
            }
            Job::Verify { image, space, accept_simulated } => {
                let (report, ending) =
                    verify_job(&desk, before, shelf, image, space.as_deref(), *accept_simulated)
                        .await?;
                Ok((Report::Verify(report), ending))
            }
        }
    });
    drive(&client, machine.port, &machine.cancel, whole)
}

#[derive(Serialize)]
#[serde(tag = "job", rename_all = "kebab-case")]
enum Report {
    Capture(Box<CaptureReport>),
    Verify(VerifyReport),
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Capture(report) => report.fmt(f),
            Self::Verify(report) => report.fmt(f),
        }
    }
}

fn open_shelf(root: &Path) -> Result<Shelf, JobError> {
    Ok(Shelf::open(Arc::new(OsDisk), root)?)
}

async fn capture_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Path,
    options: &CaptureOptions,
) -> Result<(CaptureReport, Ending), JobError> {
    let shelf = open_shelf(shelf)?;
    let Ready { hello, sheet, access, simulated, specimen } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    let parts = parts(&sheet, options.space.as_deref(), options.range.as_deref())?;
    if let Some(out) = &options.out {
        out_is_free(out, parts.iter().map(|(_, part)| part.bytes()).sum())?;
    }
    let request = CaptureRequest {
        specimen,
        simulated,
        parts,
        passes: options.passes.max(2),
        note: options.note.clone(),
    };
    let store = begin(desk, &sheet, &shelf, &request)?;
    let (report, ending) = with_rail(desk, &sheet, access, async |powered| {
        capture(desk, &sheet, &hello, powered, &request, store).await
    })
    .await?;
    if let Some(out) = &options.out {
        let id = shelf.find(&report.id, None)?;
        shelf.export(&id, out)?;
    }
    Ok((report, ending))
}

/// A file that cannot be the copy is refused before the module is touched.
fn out_is_free(out: &Path, bytes: u64) -> Result<(), JobError> {
    match std::fs::metadata(out) {
        Ok(there) if there.len() != bytes => Err(JobError::Usage(format!(
            "{} is there and holds {} bytes, the copy will have {bytes}; it is not replaced: name \
             another file",
            out.display(),
            there.len()
        ))),
        _ => Ok(()),
    }
}

fn no_specimen() -> JobError {
    JobError::Usage(
        "which individual module is this? Captures belong to specimens: name its label, such as \
         --specimen \"TG-7 #0417\" (kind, and what is written on it)"
            .into(),
    )
}

/// The spaces asked for, in sheet order, or one range of one space.
fn parts(
    sheet: &Sheet,
    space: Option<&str>,
    range: Option<&str>,
) -> Result<Vec<(usize, Part)>, JobError> {
    let whole = |index: usize| {
        let space = &sheet.spaces[index];
        let part = Part {
            space: space.name.clone(),
            width: space.width,
            base: space.base,
            first: crate::bus::WordAddress(0),
            words: space.words,
        };
        (index, part)
    };
    let Some(name) = space else {
        if range.is_some() && sheet.spaces.len() > 1 {
            return Err(JobError::Usage("--range needs --space: which space is meant?".into()));
        }
        let mut all: Vec<_> = (0..sheet.spaces.len()).map(whole).collect();
        if let (Some(range), Some((_, part))) = (range, all.first_mut()) {
            narrow(part, range)?;
        }
        return Ok(all);
    };
    let Some((index, _)) = sheet.space(name) else {
        let names: Vec<_> = sheet.spaces.iter().map(|space| space.name.as_str()).collect();
        return Err(JobError::Usage(format!(
            "the sheet of {} has no space {name}; it has {}",
            sheet.name,
            names.join(", ")
        )));
    };
    let (index, mut part) = whole(index);
    if let Some(range) = range {
        narrow(&mut part, range)?;
    }
    Ok(vec![(index, part)])
}

fn narrow(part: &mut Part, range: &str) -> Result<(), JobError> {
    let (start, words) = parse_range(range).map_err(|error| JobError::Usage(error.to_string()))?;
    let first = start.0.checked_sub(part.base.0);
    let fits = |first: u32| u64::from(first) + u64::from(words) <= u64::from(part.words);
    match first {
        Some(first) if fits(first) => {
            part.first = crate::bus::WordAddress(first);
            part.words = words;
            Ok(())
        }
        _ => Err(JobError::Usage(format!(
            "range {range} is not inside space {}, which has words {}+0x{:X}",
            part.space, part.base, part.words
        ))),
    }
}

async fn verify_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Path,
    image: &str,
    space: Option<&str>,
    accept_simulated: bool,
) -> Result<(VerifyReport, Ending), JobError> {
    let shelf = open_shelf(shelf)?;
    let from_file = read_image(image)?;
    let Ready { hello, sheet, access, simulated, specimen } = ready(desk, before).await?;
    let parts = match from_file {
        Some(bytes) => file_parts(&sheet, image, space, bytes)?,
        None => {
            let kept = shelf.get(image, specimen.as_ref())?;
            if kept.record.simulated && !simulated && !accept_simulated {
                return Err(JobError::Safety(format!(
                    "{} was taken from the simulated bench and this is a real module; if that is \
                     meant, say --accept-simulated",
                    kept.id
                )));
            }
            let content = shelf.content(&kept.id)?;
            kept_parts(&sheet, &kept, space, &content)?
        }
    };
    with_rail(desk, &sheet, access, async |powered| {
        verify(desk, &hello, powered, image, &parts).await
    })
    .await
}

/// The bytes of a file; `None` if the name can only be one of the shelf.
fn read_image(image: &str) -> Result<Option<Vec<u8>>, JobError> {
    if image.starts_with('@') {
        return Ok(None);
    }
    match std::fs::read(image) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(JobError::Usage(format!("{image}: {error}"))),
    }
}

/// A file holds one space, or all of them in sheet order.
fn file_parts(
    sheet: &Sheet,
    image: &str,
    space: Option<&str>,
    bytes: Vec<u8>,
) -> Result<Vec<VerifyPart>, JobError> {
    let parts = parts(sheet, space, None)?;
    let whole: u64 = parts.iter().map(|(_, part)| part.bytes()).sum();
    if bytes.len() as u64 != whole {
        let sizes: Vec<_> =
            parts.iter().map(|(_, part)| format!("{} {}", part.space, part.bytes())).collect();
        return Err(JobError::Usage(format!(
            "{image} holds {} bytes; expected {whole} ({}). Name the space with --space if it is \
             a copy of one",
            bytes.len(),
            sizes.join(", ")
        )));
    }
    let mut rest = bytes.as_slice();
    Ok(parts
        .into_iter()
        .map(|(space, part)| {
            let (mine, others) = rest.split_at(part.bytes() as usize);
            rest = others;
            VerifyPart { space, part, expected: mine.to_vec() }
        })
        .collect())
}

/// The spaces of a capture, found in the sheet by name.
fn kept_parts(
    sheet: &Sheet,
    kept: &Capture,
    only: Option<&str>,
    content: &[u8],
) -> Result<Vec<VerifyPart>, JobError> {
    let mut parts = Vec::new();
    for record in kept.record.spaces.iter().filter(|r| only.is_none_or(|only| only == r.name)) {
        let found = sheet.space(&record.name).filter(|(_, space)| {
            let end = u64::from(record.first.0) + u64::from(record.words);
            space.width == record.width && space.base == record.base && end <= u64::from(space.words)
        });
        let Some((space, _)) = found else {
            return Err(JobError::Usage(format!(
                "space {} of capture {} is not in the sheet of {}, or has other words there; was \
                 it taken with another sheet ({})?",
                record.name, kept.id, sheet.name, kept.record.sheet.name
            )));
        };
        let part = Part {
            space: record.name.clone(),
            width: record.width,
            base: record.base,
            first: record.first,
            words: record.words,
        };
        let bytes = content.get(record.offset as usize..(record.offset + record.bytes) as usize);
        let Some(bytes) = bytes else {
            return Err(JobError::Usage(format!(
                "capture {} is shorter than its record says; `buswright shelf check` tells more",
                kept.id
            )));
        };
        parts.push(VerifyPart { space, part, expected: bytes.to_vec() });
    }
    if parts.is_empty() {
        let space = only.unwrap_or("any");
        return Err(JobError::Usage(format!("capture {} holds no space {space}", kept.id)));
    }
    Ok(parts)
}
