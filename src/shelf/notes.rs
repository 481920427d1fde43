//! Notes added to a capture after it was taken.

use super::{CaptureId, Shelf, ShelfError, lines};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// A note.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Note {
    /// When it was added, UTC.
    pub(crate) time: Timestamp,
    /// What it says.
    pub(crate) text: String,
}

impl Shelf {
    /// Adds a note to a capture; nothing that is there is changed.
    pub(crate) fn note(
        &self,
        id: &CaptureId,
        text: &str,
        time: Timestamp,
    ) -> Result<(), ShelfError> {
        let id = self.find(&id.to_string(), None)?;
        let text = text.trim();
        if text.is_empty() {
            return Err(ShelfError::EmptyNote { id });
        }
        let _lock = self.files().lock(&self.dir("locks").join("shelf"))?;
        let note = Note { time, text: text.to_owned() };
        lines::append(self.files(), &self.folder(&id).join("notes.jsonl"), &note)
    }

    /// The notes of a capture in the order they were added.
    pub(crate) fn notes(&self, id: &CaptureId) -> Result<Vec<Note>, ShelfError> {
        let (notes, _) = lines::read(self.files(), &self.folder(id).join("notes.jsonl"))?;
        Ok(notes)
    }
}
