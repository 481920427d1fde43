//! What the chips of individual modules have answered, each time they were asked.

use super::{ChipRecord, Label, Shelf, ShelfError, lines};
use crate::chips::Family;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// One identification of one module.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Identified {
    /// When, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// SHA-256 of the text of its sheet.
    pub(crate) sheet_sha256: String,
    /// On the simulated bench?
    pub(crate) simulated: bool,
    /// The chips, space by space.
    pub(crate) spaces: Vec<IdentifiedSpace>,
}

/// The chips of one space.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct IdentifiedSpace {
    /// Its name.
    pub(crate) name: String,
    /// The family whose commands they answered; `None` if they did not, or not alike.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) family: Option<Family>,
    /// Its chips, lowest data lines first.
    pub(crate) chips: Vec<ChipRecord>,
}

impl Shelf {
    /// Keeps an identification beside those before it.
    pub(crate) fn keep_identity(&self, identified: &Identified) -> Result<(), ShelfError> {
        let _lock = self.files().lock(&self.dir("locks").join("shelf"))?;
        self.files().make_dir(&self.dir("identities"))?;
        lines::append(self.files(), &self.identity_path(&identified.specimen), identified)
    }

    /// The latest identification of a module with the same sheet; lines that cannot be read are
    /// passed over.
    pub(crate) fn last_identity(
        &self,
        label: &Label,
        sheet_sha256: &str,
    ) -> Result<Option<Identified>, ShelfError> {
        let (lines, _) = lines::read::<Identified>(self.files(), &self.identity_path(label))?;
        Ok(lines
            .into_iter()
            .rfind(|line| line.specimen == *label && line.sheet_sha256 == sheet_sha256))
    }

    fn identity_path(&self, label: &Label) -> PathBuf {
        self.dir("identities").join(format!("{}.jsonl", label.slug()))
    }
}
