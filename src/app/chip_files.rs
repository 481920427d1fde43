//! Chip files that people name: they add to the part list, and a plan keeps them.

use super::input::read_text;
use crate::chips::Catalogue;
use crate::image::one_line;
use crate::jobs::JobError;
use crate::shelf::ChipFile;
use std::fmt::Display;
use std::path::PathBuf;

fn usage(error: &dyn Display) -> JobError {
    JobError::Usage(error.to_string())
}

/// The chip files as they are now.
pub(super) fn chip_files(files: &[PathBuf]) -> Result<Vec<ChipFile>, JobError> {
    let one = |file: &PathBuf| {
        let text = read_text(file).map_err(|error| usage(&error))?;
        Ok(ChipFile { name: one_line(file.display()), text })
    };
    files.iter().map(one).collect()
}

/// The built-in part list and what `files` add to it.
pub(super) fn catalogue(files: &[ChipFile]) -> Result<Catalogue, JobError> {
    let mut catalogue = Catalogue::built_in().map_err(|error| usage(&error))?;
    for ChipFile { name, text } in files {
        catalogue.add(name, text).map_err(|error| usage(&error))?;
    }
    Ok(catalogue)
}
