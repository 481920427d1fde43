//! Captures that are not finished: the ones under way, and the ones set aside.

use super::captures::from_toml;
use super::progress::{self, Entry};
use super::{Listing, Shelf, ShelfError, Start};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The folder of those that the next capture of their module goes on with.
pub(super) const UNFINISHED: &str = "unfinished";
/// The folder of those that did not fit the next capture of their module.
pub(super) const SET_ASIDE: &str = "set-aside";

/// A capture that was begun and not finished.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pending {
    /// Its folder.
    pub(crate) folder: PathBuf,
    /// What it was begun with.
    pub(crate) start: Start,
    /// Blocks that its progress log names.
    pub(crate) blocks_done: usize,
    /// Blocks in all.
    pub(crate) blocks: usize,
    /// Another capture of this module is or was under way in its place.
    pub(crate) set_aside: bool,
}

impl Shelf {
    /// Adds every unfinished capture to `listing`, and what could not be read.
    pub(super) fn list_pending(&self, listing: &mut Listing) -> Result<(), ShelfError> {
        for (dir, set_aside) in [(UNFINISHED, false), (SET_ASIDE, true)] {
            let dir = self.dir(dir);
            for name in self.files().list(&dir)? {
                match self.pending(dir.join(name), set_aside) {
                    Ok(found) => listing.pending.extend(found),
                    Err(error) => listing.troubles.push(error),
                }
            }
        }
        Ok(())
    }

    fn pending(&self, folder: PathBuf, set_aside: bool) -> Result<Option<Pending>, ShelfError> {
        let Some(start) = self.start_in(&folder)? else { return Ok(None) };
        let log = self.files().read_if_there(&folder.join("progress.log"))?.unwrap_or_default();
        let done: BTreeSet<_> = progress::parse(&log)
            .into_iter()
            .filter_map(|entry| match entry {
                Entry::Block { index, .. } => Some(index),
                _ => None,
            })
            .collect();
        let (blocks_done, blocks) = (done.len(), start.blocks().len());
        Ok(Some(Pending { folder, start, blocks_done, blocks, set_aside }))
    }

    fn start_in(&self, folder: &Path) -> Result<Option<Start>, ShelfError> {
        let path = folder.join("start.toml");
        let bytes = self.files().read_if_there(&path)?;
        bytes.map(|bytes| from_toml(&path, &bytes)).transpose()
    }

    /// The latest capture set aside that was begun with an equal `start`. What cannot be read fits
    /// nothing.
    pub(super) fn fitting_set_aside(&self, start: &Start) -> Result<Option<PathBuf>, ShelfError> {
        let dir = self.dir(SET_ASIDE);
        let slug = start.specimen.slug();
        let mut found: Vec<(u32, PathBuf)> = Vec::new();
        for name in self.files().list(&dir)? {
            let number = name.strip_prefix(&slug).and_then(|rest| rest.strip_prefix('.'));
            let Some(Ok(number)) = number.map(str::parse) else { continue };
            let folder = dir.join(&name);
            if self.start_in(&folder).is_ok_and(|other| other.as_ref() == Some(start)) {
                found.push((number, folder));
            }
        }
        Ok(found.into_iter().max().map(|(_, folder)| folder))
    }
}
