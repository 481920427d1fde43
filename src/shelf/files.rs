//! A disk whose errors say what was tried, and the few steps that are always done together.

use super::ShelfError;
use super::disk::{Disk, Lock, folder_of, scratch};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The disk as the rest of the shelf uses it.
#[derive(Clone)]
pub(super) struct Files(Arc<dyn Disk>);

impl Files {
    /// Files on `disk`.
    pub(super) fn new(disk: Arc<dyn Disk>) -> Self {
        Self(disk)
    }

    /// Makes a folder and those above it, each on the medium before the next.
    pub(super) fn make_dir(&self, path: &Path) -> Result<(), ShelfError> {
        let above = folder_of(path);
        if self.exists(path)? {
            // It may be there because a process made it and ended before its name was settled.
            return self.sync_dir(above);
        }
        if above != path {
            self.make_dir(above)?;
        }
        self.0.create_dir_all(path).map_err(at(path, "make this folder"))?;
        self.sync_dir(above)
    }

    /// Makes a file, unless it is there.
    pub(super) fn create_if_missing(&self, path: &Path) -> Result<(), ShelfError> {
        if self.exists(path)? {
            return Ok(());
        }
        self.0.create_new(path, &[]).map_err(at(path, "create this file"))
    }

    /// Writes a whole file so that it is there entirely or not at all, replacing one of that name.
    /// Not for anything that is on the shelf.
    pub(super) fn replace(&self, path: &Path, bytes: &[u8]) -> Result<(), ShelfError> {
        let aside = self.scratch(path, bytes)?;
        let placed = self.0.replace(&aside, path);
        self.tidied(&aside, placed.map_err(at(path, "put the written file in its place")))?;
        self.sync_dir(folder_of(path))
    }

    /// Writes a whole file so that it is there entirely or not at all; an error if it is there.
    pub(super) fn create_whole(&self, path: &Path, bytes: &[u8]) -> Result<(), ShelfError> {
        let aside = self.scratch(path, bytes)?;
        self.tidied(&aside, self.rename(&aside, path))?;
        self.sync_dir(folder_of(path))
    }

    fn scratch(&self, path: &Path, bytes: &[u8]) -> Result<PathBuf, ShelfError> {
        let aside = scratch(path);
        let written = self.0.write_scratch(&aside, bytes);
        self.tidied(&aside, written.map_err(at(&aside, "write this file")))?;
        Ok(aside)
    }

    /// Leaves no scratch file behind what failed; where that fails too, the first error counts.
    fn tidied<T>(&self, aside: &Path, result: Result<T, ShelfError>) -> Result<T, ShelfError> {
        if result.is_err() {
            let _ = self.0.remove_scratch(aside);
        }
        result
    }

    /// Adds a line to the end of a file; on a line of its own even if the last one was cut short.
    /// The name of a file that is new has yet to be settled.
    pub(super) fn append_line(&self, path: &Path, line: &str) -> Result<(), ShelfError> {
        let length = if self.exists(path)? { self.len(path)? } else { 0 };
        let torn = length > 0 && self.read_at(path, length - 1, 1)? != b"\n";
        let line = format!("{}{line}\n", if torn { "\n" } else { "" });
        self.0.append(path, line.as_bytes()).map_err(at(path, "add a line to this file"))
    }

    /// See [`Disk::write_at`].
    pub(super) fn write_at(
        &self,
        path: &Path,
        at_byte: u64,
        bytes: &[u8],
    ) -> Result<(), ShelfError> {
        self.0.write_at(path, at_byte, bytes).map_err(at(path, "write to this file"))
    }

    /// See [`Disk::read`].
    pub(super) fn read(&self, path: &Path) -> Result<Vec<u8>, ShelfError> {
        self.0.read(path).map_err(at(path, "read this file"))
    }

    /// The whole file; `None` if it is not there.
    pub(super) fn read_if_there(&self, path: &Path) -> Result<Option<Vec<u8>>, ShelfError> {
        if self.exists(path)? { self.read(path).map(Some) } else { Ok(None) }
    }

    /// See [`Disk::read_at`].
    pub(super) fn read_at(
        &self,
        path: &Path,
        offset: u64,
        len: usize,
    ) -> Result<Vec<u8>, ShelfError> {
        self.0.read_at(path, offset, len).map_err(at(path, "read this file"))
    }

    /// See [`Disk::rename`].
    pub(super) fn rename(&self, from: &Path, to: &Path) -> Result<(), ShelfError> {
        self.0.rename(from, to).map_err(at(to, "give this name to what was written"))
    }

    /// See [`Disk::sync_dir`].
    pub(super) fn sync_dir(&self, path: &Path) -> Result<(), ShelfError> {
        self.0.sync_dir(path).map_err(at(path, "settle this folder on the disk"))
    }

    /// The names in a folder, in order; none if it is not there.
    pub(super) fn list(&self, path: &Path) -> Result<Vec<String>, ShelfError> {
        if !self.exists(path)? {
            return Ok(Vec::new());
        }
        self.0.list(path).map_err(at(path, "list this folder"))
    }

    /// See [`Disk::exists`].
    pub(super) fn exists(&self, path: &Path) -> Result<bool, ShelfError> {
        self.0.exists(path).map_err(at(path, "look whether this is there"))
    }

    /// See [`Disk::is_file`].
    pub(super) fn is_file(&self, path: &Path) -> Result<bool, ShelfError> {
        self.0.is_file(path).map_err(at(path, "look what this is"))
    }

    /// See [`Disk::len`].
    pub(super) fn len(&self, path: &Path) -> Result<u64, ShelfError> {
        self.0.len(path).map_err(at(path, "ask for the length of this file"))
    }

    /// See [`Disk::try_lock`].
    pub(super) fn try_lock(&self, path: &Path) -> Result<Option<Lock>, ShelfError> {
        self.make_dir(folder_of(path))?;
        self.0.try_lock(path).map_err(at(path, "lock this file"))
    }

    /// See [`Disk::lock`].
    pub(super) fn lock(&self, path: &Path) -> Result<Lock, ShelfError> {
        self.make_dir(folder_of(path))?;
        self.0.lock(path).map_err(at(path, "lock this file"))
    }
}

fn at(path: &Path, tried: &'static str) -> impl FnOnce(io::Error) -> ShelfError {
    let path = path.to_owned();
    move |error| ShelfError::Disk { path, tried, error }
}
