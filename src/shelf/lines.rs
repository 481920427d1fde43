//! Files of one JSON value a line that only grow: histories and notes.

use super::ShelfError;
use super::disk::folder_of;
use super::files::Files;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::Path;

/// The lines of a file, and how many could not be understood (cut short, damaged, or newer).
pub(super) fn read<T: DeserializeOwned>(
    files: &Files,
    path: &Path,
) -> Result<(Vec<T>, usize), ShelfError> {
    let bytes = files.read_if_there(path)?.unwrap_or_default();
    let mut damaged = 0;
    let mut lines = Vec::new();
    for line in bytes.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        match serde_json::from_slice(line) {
            Ok(line) => lines.push(line),
            Err(_) => damaged += 1,
        }
    }
    Ok((lines, damaged))
}

/// Adds a line.
pub(super) fn append<T: Serialize>(files: &Files, path: &Path, line: &T) -> Result<(), ShelfError> {
    let line = serde_json::to_string(line).map_err(|error| ShelfError::Disk {
        path: path.to_owned(),
        tried: "write a line of this file",
        error: error.into(),
    })?;
    files.append_line(path, &line)?;
    files.sync_dir(folder_of(path))
}
