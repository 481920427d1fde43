//! The shelf itself, and the captures on it.

use super::disk::Disk;
use super::files::Files;
use super::{CaptureId, Label, Lacks, Note, Pending, Record, ShelfError, SpaceSummary, sha256_hex};
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The folder of captures and histories.
#[derive(Clone)]
pub(crate) struct Shelf {
    files: Files,
    root: PathBuf,
}

/// What every record says, whichever version wrote it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Summary {
    /// The id.
    pub(crate) id: CaptureId,
    /// When it was finished, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// Taken from the simulated bench?
    #[serde(default)]
    pub(crate) simulated: bool,
    /// Said by the person who took it.
    #[serde(default)]
    pub(crate) note: String,
    /// The length of the content in bytes.
    #[serde(default)]
    pub(crate) bytes: u64,
    /// SHA-256 of the content.
    #[serde(default)]
    pub(crate) sha256: String,
    #[serde(default, skip_serializing)]
    sheet: SheetText,
    #[serde(default, rename = "space", skip_serializing)]
    spaces: Vec<SpaceSummary>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
struct SheetText {
    text: String,
}

impl Summary {
    /// What it lacks to be a whole copy that held still.
    pub(crate) fn lacks(&self) -> Lacks {
        Lacks::of(&self.spaces, &self.sheet.text)
    }

    /// The kinds of doubt that a fault of a line or a chip would leave, each once.
    pub(crate) fn doubts(&self) -> Vec<&str> {
        let mut kinds: Vec<_> = self.spaces.iter().flat_map(SpaceSummary::doubts).collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    }
}

/// What is on the shelf.
#[derive(Debug, Default)]
pub(crate) struct Listing {
    /// The captures, by id.
    pub(crate) captures: Vec<Summary>,
    /// The unfinished ones, and those set aside.
    pub(crate) pending: Vec<Pending>,
    /// What could not be read.
    pub(crate) troubles: Vec<ShelfError>,
}

/// A capture with its record.
#[derive(Clone, Debug)]
pub(crate) struct Capture {
    /// Its id.
    pub(crate) id: CaptureId,
    /// Its folder.
    pub(crate) folder: PathBuf,
    /// Its record.
    pub(crate) record: Record,
    /// The notes added since.
    pub(crate) notes: Vec<Note>,
}

impl Shelf {
    /// The shelf in the folder `root` of `disk`; the folder is made with the first capture.
    pub(crate) fn open(disk: Arc<dyn Disk>, root: &Path) -> Result<Self, ShelfError> {
        let shelf = Self { files: Files::new(disk), root: root.to_owned() };
        // An unreachable folder (a file in its place, no leave to look) should show now.
        shelf.files.list(root)?;
        Ok(shelf)
    }

    /// The folder.
    pub(crate) fn root(&self) -> &Path {
        &self.root
    }

    pub(super) fn files(&self) -> &Files {
        &self.files
    }

    pub(super) fn dir(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    pub(super) fn folder(&self, id: &CaptureId) -> PathBuf {
        self.dir("captures").join(id.to_string())
    }

    /// The ids of all captures, in order; folders that are none of ours are passed over.
    pub(super) fn ids(&self) -> Result<Vec<CaptureId>, ShelfError> {
        let names = self.files.list(&self.dir("captures"))?;
        let mut ids: Vec<CaptureId> = names.iter().filter_map(|name| name.parse().ok()).collect();
        ids.sort();
        Ok(ids)
    }

    /// The first id of a serial that no capture has and no history names.
    pub(super) fn next_id(&self, serial: &str) -> Result<CaptureId, ShelfError> {
        let mut used = self.ids()?;
        used.extend(self.ids_in_histories(serial)?);
        let of_it = used.iter().filter(|id| id.serial() == serial);
        let last = of_it.map(CaptureId::number).max().unwrap_or(0);
        let no_number = || ShelfError::NoNumber { serial: serial.to_owned(), last };
        Ok(CaptureId::new(serial.to_owned(), last.checked_add(1).ok_or_else(no_number)?))
    }

    /// Everything on the shelf. What cannot be read is named and keeps nothing else from being
    /// listed.
    pub(crate) fn list(&self) -> Result<Listing, ShelfError> {
        let mut listing = Listing::default();
        for id in self.ids()? {
            match self.summary(&id) {
                Ok(summary) => listing.captures.push(summary),
                Err(error) => listing.troubles.push(error),
            }
        }
        self.list_pending(&mut listing)?;
        Ok(listing)
    }

    /// What every record says, of one capture.
    pub(super) fn summary(&self, id: &CaptureId) -> Result<Summary, ShelfError> {
        let path = self.folder(id).join("record.toml");
        let summary: Summary = from_toml(&path, &self.files.read(&path)?)?;
        same_id(&path, id, Some(&summary.id))?;
        Ok(summary)
    }

    /// Finds a capture by id, or with `@last` the latest one: of `label`, or of all without one.
    pub(crate) fn find(&self, which: &str, label: Option<&Label>) -> Result<CaptureId, ShelfError> {
        if which != "@last" {
            let id: CaptureId = which.parse()?;
            let there = self.files.exists(&self.folder(&id))?;
            return if there { Ok(id) } else { Err(self.no_capture(which.to_owned())) };
        }
        // A record that cannot be read is an error here: the capture behind it may be the one that
        // is meant, and an older one must not be taken for it.
        let mut ids = self.ids()?;
        let latest = if let Some(label) = label {
            // Numbers are given in order; clocks may be wrong.
            ids.retain(|id| id.serial() == label.serial_slug());
            let mut latest = None;
            while let (None, Some(id)) = (&latest, ids.pop()) {
                latest = Some(self.summary(&id).map_err(last_unknown)?)
                    .filter(|found| found.specimen == *label);
            }
            latest
        } else {
            let all = ids.iter().map(|id| self.summary(id).map_err(last_unknown));
            let all = all.collect::<Result<Vec<_>, _>>()?;
            all.into_iter().max_by_key(|summary| (summary.time, summary.id.clone()))
        };
        latest.map(|summary| summary.id).ok_or_else(|| {
            self.no_capture(match label {
                Some(label) => format!("a capture of {label}"),
                None => "any capture".to_owned(),
            })
        })
    }

    fn no_capture(&self, asked: String) -> ShelfError {
        ShelfError::NoCapture { asked, shelf: self.root.clone() }
    }

    /// A capture with its record and notes; `which` and `label` as for [`Shelf::find`].
    pub(crate) fn get(&self, which: &str, label: Option<&Label>) -> Result<Capture, ShelfError> {
        let id = self.find(which, label)?;
        let record = self.record(&id)?;
        let notes = self.notes(&id)?;
        Ok(Capture { folder: self.folder(&id), id, record, notes })
    }

    pub(super) fn record(&self, id: &CaptureId) -> Result<Record, ShelfError> {
        let path = self.folder(id).join("record.toml");
        let record: Record = from_toml(&path, &self.files.read(&path)?)?;
        same_id(&path, id, record.id.as_ref())?;
        Ok(record)
    }

    /// The content of a capture, proven to be what its record says.
    pub(crate) fn content(&self, id: &CaptureId) -> Result<Vec<u8>, ShelfError> {
        let record = self.record(id)?;
        let content = self.files.read(&self.folder(id).join("content.bin"))?;
        if content.len() as u64 == record.bytes && sha256_hex(&content) == record.sha256 {
            return Ok(content);
        }
        let mut faults = super::check::faults(&record, &content).into_iter();
        match faults.next() {
            Some(fault) => {
                let (id, fault) = (id.clone(), Box::new(fault));
                Err(ShelfError::Damaged { id, fault, others: faults.count() })
            }
            None => Ok(content),
        }
    }
}

/// Why it is not known which capture is the latest.
fn last_unknown(error: ShelfError) -> ShelfError {
    ShelfError::LastUnknown { error: Box::new(error) }
}

fn same_id(path: &Path, id: &CaptureId, recorded: Option<&CaptureId>) -> Result<(), ShelfError> {
    if recorded == Some(id) {
        return Ok(());
    }
    let recorded = recorded.map_or("no capture".to_owned(), CaptureId::to_string);
    let why = format!("it is the record of {recorded}, in the folder of {id}");
    Err(ShelfError::BadRecord { path: path.to_owned(), why })
}

pub(super) fn from_toml<T: DeserializeOwned>(path: &Path, bytes: &[u8]) -> Result<T, ShelfError> {
    let bad = |why| ShelfError::BadRecord { path: path.to_owned(), why };
    let text = std::str::from_utf8(bytes)
        .map_err(|error| bad(format!("byte 0x{:X} is no text (UTF-8)", error.valid_up_to())))?;
    crate::notation::read(text).map_err(|error| {
        let line = error.span().map(|span| {
            let before = text.get(..span.start).unwrap_or_default();
            format!("line {}: ", before.matches('\n').count() + 1)
        });
        bad(format!("{}{}", line.unwrap_or_default(), error.message()))
    })
}

pub(super) fn to_toml<T: Serialize>(path: &Path, value: &T) -> Result<String, ShelfError> {
    toml::to_string_pretty(value).map_err(|error| {
        let path = path.to_owned();
        ShelfError::BadRecord { path, why: format!("it cannot be written as TOML: {error}") }
    })
}
