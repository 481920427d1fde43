//! The adapter kit, written into a folder.

use crate::image::one_line;
use crate::kit::FILES;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a kit could not be written.
#[derive(Debug, Error)]
pub enum KitError {
    /// A file is there already and holds something else; nothing is replaced.
    #[error("{path} is there already with other contents; name an empty folder", path = one_line(.0.display()))]
    Differs(PathBuf),
    /// A folder or file could not be made.
    #[error("{path}: {error}; name a folder that can be written", path = one_line(.path.display()))]
    Write {
        /// Which one.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
}

/// Writes every file of the kit below `folder`; returns how many there are.
///
/// A file with other contents is never replaced: all are looked at before the first is written.
pub fn write_kit(folder: &Path) -> Result<usize, KitError> {
    for file in FILES {
        let path = folder.join(file.path);
        match fs::read(&path) {
            Ok(there) if there != file.text.as_bytes() => return Err(KitError::Differs(path)),
            _ => {}
        }
    }
    for file in FILES {
        let path = folder.join(file.path);
        let parent = path.parent().unwrap_or(folder);
        fs::create_dir_all(parent)
            .and_then(|()| fs::write(&path, file.text))
            .map_err(|error| KitError::Write { path: path.clone(), error })?;
    }
    Ok(FILES.len())
}
