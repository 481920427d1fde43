//! Images by name: a file, or a capture on the shelf.

use super::input::{InputError, Plain};
use super::parts::parts;
use crate::jobs::{JobError, VerifyPart};
use crate::module::Sheet;
use crate::shelf::{Capture, Part};
use std::path::Path;

/// An image, and which part of the module it is of.
#[derive(Clone, Copy)]
pub(super) struct ImageName<'a> {
    /// A path, a shelf id, or `@last`.
    pub image: &'a str,
    /// Only this space.
    pub space: Option<&'a str>,
    /// A file holds only this range of it.
    pub range: Option<&'a str>,
}

/// The file, not read yet; `None` if the name can only be one of the shelf.
pub(super) fn open_image(image: &str) -> Result<Option<Plain>, JobError> {
    if image.starts_with('@') {
        return Ok(None);
    }
    match Plain::open(Path::new(image)) {
        Ok(file) => Ok(Some(file)),
        Err(error) if error.is_missing() => Ok(None),
        Err(error) => Err(JobError::Usage(error.to_string())),
    }
}

/// A file holds one space or a range of one, or all of them in sheet order.
pub(super) fn file_parts(
    sheet: &Sheet,
    name: ImageName<'_>,
    file: Plain,
) -> Result<Vec<VerifyPart>, JobError> {
    let parts = parts(sheet, name.space, name.range)?;
    let whole: u64 = parts.iter().map(|(_, part)| part.bytes()).sum();
    // No more is read than the module can hold.
    let read = match file.read(whole) {
        Err(InputError::TooLong { got, .. }) => Err(got),
        Err(error) => return Err(JobError::Usage(error.to_string())),
        Ok(bytes) if bytes.len() as u64 != whole => Err(bytes.len() as u64),
        Ok(bytes) => Ok(bytes),
    };
    let bytes = read.map_err(|length| {
        let sizes: Vec<_> =
            parts.iter().map(|(_, part)| format!("{} {}", part.space, part.bytes())).collect();
        JobError::Usage(format!(
            "{} holds {length} bytes; expected {whole} ({}). Name the space with --space if it is \
             a copy of one, and the range with --range if it is a copy of less",
            name.image,
            sizes.join(", ")
        ))
    })?;
    let mut rest = &bytes[..];
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
pub(super) fn kept_parts(
    sheet: &Sheet,
    kept: &Capture,
    only: Option<&str>,
    content: &[u8],
) -> Result<Vec<VerifyPart>, JobError> {
    let mut parts = Vec::new();
    for record in kept.record.spaces.iter().filter(|r| only.is_none_or(|only| only == r.name)) {
        let found = sheet.space(&record.name).filter(|(_, space)| {
            let end = u64::from(record.first.0) + u64::from(record.words);
            space.width == record.width
                && space.base == record.base
                && end <= u64::from(space.words)
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
