//! Histories: what happened to one individual module.

use super::disk::Lock;
use super::{CaptureId, Label, Shelf, ShelfError, Summary, lines};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// The event of a finished capture.
const CAPTURED: &str = "captured";

/// One thing that happened. Events that this version does not know are kept and shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct HistoryLine {
    /// When, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// What kind of thing.
    pub(crate) event: String,
    /// The capture it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) capture: Option<CaptureId>,
    /// SHA-256 of the content it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) sha256: Option<String>,
    /// SHA-256 of the image that it was made of, where that is another one: kept zones stay the
    /// module's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) image_sha256: Option<String>,
    /// Length of that content in bytes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) bytes: Option<u64>,
    /// On the simulated bench?
    #[serde(default)]
    pub(crate) simulated: bool,
    /// A sentence for people.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) text: String,
}

/// The history of one module.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct History {
    /// What happened, in the order it was written down.
    pub(crate) lines: Vec<HistoryLine>,
    /// Lines that could not be read.
    pub(crate) damaged: usize,
}

impl Shelf {
    /// The history of a module, captures whose line was lost to an interruption included.
    pub(crate) fn history(&self, label: &Label) -> Result<History, ShelfError> {
        let mut history = self.written_history(label)?;
        let missing = self.missing_lines(label, &history)?;
        history.lines.extend(missing);
        Ok(history)
    }

    /// Adds a line to the history of its module.
    pub(crate) fn remember(&self, line: &HistoryLine) -> Result<(), ShelfError> {
        let lock = self.files().lock(&self.dir("locks").join("shelf"))?;
        self.append_history(line, &lock)
    }

    /// Writes the lines of all captures of `label` that have none yet: the one just finished, and
    /// any whose process ended between the capture and its line.
    pub(super) fn settle_history(&self, label: &Label, lock: &Lock) -> Result<(), ShelfError> {
        let history = self.written_history(label)?;
        for line in self.missing_lines(label, &history)? {
            self.append_history(&line, lock)?;
        }
        Ok(())
    }

    /// Every capture of a serial that some history names, whether or not it is still there.
    pub(super) fn ids_in_histories(&self, serial: &str) -> Result<Vec<CaptureId>, ShelfError> {
        let dir = self.dir("histories");
        let mut ids = Vec::new();
        for name in self.files().list(&dir)? {
            if name.split_once('_').is_some_and(|(before, _)| before == serial) {
                let (lines, _) = lines::read::<HistoryLine>(self.files(), &dir.join(name))?;
                ids.extend(lines.into_iter().filter_map(|line| line.capture));
            }
        }
        Ok(ids)
    }

    fn append_history(&self, line: &HistoryLine, _lock: &Lock) -> Result<(), ShelfError> {
        self.files().make_dir(&self.dir("histories"))?;
        lines::append(self.files(), &self.history_path(&line.specimen), line)
    }

    fn written_history(&self, label: &Label) -> Result<History, ShelfError> {
        let (lines, damaged) = lines::read(self.files(), &self.history_path(label))?;
        Ok(History { lines, damaged })
    }

    /// A line for every capture of `label` that the history does not name. Captures whose record
    /// is damaged or gone get none: a check names them.
    fn missing_lines(
        &self,
        label: &Label,
        history: &History,
    ) -> Result<Vec<HistoryLine>, ShelfError> {
        let mut lines = Vec::new();
        for id in self.ids()?.into_iter().filter(|id| id.serial() == label.serial_slug()) {
            let named =
                |line: &HistoryLine| line.event == CAPTURED && line.capture.as_ref() == Some(&id);
            if history.lines.iter().any(named) {
                continue;
            }
            match self.summary(&id) {
                Ok(summary) if summary.specimen == *label => lines.push(captured(summary)),
                Ok(_) => {}
                Err(error) if error.is_about_the_record() => {}
                Err(error) => return Err(error),
            }
        }
        Ok(lines)
    }

    fn history_path(&self, label: &Label) -> PathBuf {
        self.dir("histories").join(format!("{}.jsonl", label.slug()))
    }
}

fn captured(summary: Summary) -> HistoryLine {
    let said = [summary.lacks().to_string(), summary.note];
    let said: Vec<_> = said.into_iter().filter(|text| !text.is_empty()).collect();
    HistoryLine {
        time: summary.time,
        specimen: summary.specimen,
        event: CAPTURED.to_owned(),
        capture: Some(summary.id),
        sha256: Some(summary.sha256),
        image_sha256: None,
        bytes: Some(summary.bytes),
        simulated: summary.simulated,
        text: said.join(": "),
    }
}
