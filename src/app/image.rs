//! Images by name: a file, or a capture on the shelf.

use super::input::{InputError, Plain};
use super::parts::{Asked, parts, whole_parts, without};
use super::sheets::refuse_unopened;
use crate::image::{ACCEPT, PLAN_BACK, RANGE, SPACE, one_line};
use crate::jobs::{JobError, VerifyPart};
use crate::module::{Kind, Sheet};
use crate::shelf::{Capture, Label, Part, Shelf, ShelfError};
use std::path::Path;

/// Stands for the contents before the last write.
pub(crate) const BACK: &str = "@back";

/// An image, and which part of the module it is of.
#[derive(Clone, Copy)]
pub(super) struct ImageName<'a> {
    /// A path, a shelf id, `@last`, or `@blank` (every word ones).
    pub image: &'a str,
    /// Only this space.
    pub space: Option<&'a str>,
    /// A file holds only this range of it.
    pub range: Option<&'a str>,
}

/// What an image says of the module.
pub(super) struct Expected {
    /// All that it holds words of.
    pub holds: Vec<(usize, Part)>,
    /// What of it is compared.
    pub parts: Vec<VerifyPart>,
}

/// Ones for every word of what was asked for; without a space, of all flash.
pub(super) fn blank_parts(sheet: &Sheet, name: ImageName<'_>) -> Result<Expected, JobError> {
    let mut holds = parts(sheet, Asked { space: name.space, range: name.range })?;
    if name.space.is_none() {
        holds.retain(|(index, _)| sheet.spaces[*index].kind == Kind::Flash);
    }
    let parts = holds.iter().flat_map(|(index, part)| {
        let ones = vec![0xFF; part.bytes() as usize];
        compared(sheet, *index, part, &ones)
    });
    let parts = parts.collect();
    Ok(Expected { holds, parts })
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

/// A file holds one space or a range of one, or all of them in sheet order; without the zones that
/// are never touched, as `capture --out` writes it, or with them, as it may come from elsewhere. Its
/// bytes come along.
pub(super) fn file_parts(
    sheet: &Sheet,
    name: ImageName<'_>,
    file: Plain,
) -> Result<(Expected, Vec<u8>), JobError> {
    let asked = Asked { space: name.space, range: name.range };
    let (read, all) = (parts(sheet, asked)?, whole_parts(sheet, asked)?);
    let length = |parts: &[(usize, Part)]| parts.iter().map(|(_, part)| part.bytes()).sum::<u64>();
    let holds = if file.length == length(&all) { all } else { read };
    let whole = length(&holds);
    // No more is read than the module can hold.
    let read = match file.read(whole) {
        Err(InputError::TooLong { got, .. }) => Err(got),
        Err(error) => return Err(JobError::Usage(error.to_string())),
        Ok(bytes) if bytes.len() as u64 != whole => Err(bytes.len() as u64),
        Ok(bytes) => Ok(bytes),
    };
    let bytes = read.map_err(|length| {
        let sizes: Vec<_> =
            holds.iter().map(|(_, part)| format!("{} {}", part.space, part.bytes())).collect();
        JobError::Usage(format!(
            "{} holds {length} bytes; expected {whole} ({}). {}Name the space with {SPACE} if it \
             is a copy of one, and the range with {RANGE} if it is a copy of less",
            one_line(name.image),
            sizes.join(", "),
            odd_length(sheet, &holds, length)
        ))
    })?;
    let mut rest = &bytes[..];
    let mut parts = Vec::new();
    for (space, part) in &holds {
        let (mine, others) = rest.split_at(part.bytes() as usize);
        rest = others;
        parts.extend(compared(sheet, *space, part, mine));
    }
    Ok((Expected { holds, parts }, bytes))
}

/// What a wrong length looks like, as the beginning of a sentence; nothing if it tells nothing.
fn odd_length(sheet: &Sheet, holds: &[(usize, Part)], length: u64) -> String {
    let size = holds.iter().map(|(_, part)| part.width.bytes() as u64).max().unwrap_or(1);
    if !length.is_multiple_of(size) {
        return format!("Its length is no whole number of words of {} bits. ", size * 8);
    }
    for (index, part) in holds {
        let chips = &sheet.spaces[*index].chips;
        let lanes = |count: usize| {
            let bits: u64 = chips.iter().take(count).map(|chip| u64::from(chip.lane.bits)).sum();
            u64::from(part.words) * bits / 8
        };
        let of = (1..chips.len()).find(|&count| lanes(count) == length);
        if let Some(count) = of {
            return format!(
                "It is as long as a file of {count} of the {} chips of {}: files of single chips \
                 must be woven to words first. ",
                chips.len(),
                part.space
            );
        }
    }
    String::new()
}

/// The pieces of a part that are compared: its words without those that are never touched, and
/// those that change by themselves.
pub(super) fn compared(sheet: &Sheet, space: usize, part: &Part, bytes: &[u8]) -> Vec<VerifyPart> {
    let size = part.width.bytes();
    let pieces = without(sheet, space, part, |zone| zone.keep_off || zone.live).into_iter();
    let piece = |piece: Part| {
        let at = (piece.first.0 - part.first.0) as usize * size;
        let expected = bytes[at..at + piece.bytes() as usize].to_vec();
        VerifyPart { space, part: piece, expected }
    };
    pieces.map(piece).collect()
}

/// The capture that `name` means; one of the simulated bench only where `simulated` may be.
pub(super) fn kept_image(
    shelf: &Shelf,
    name: ImageName<'_>,
    specimen: &Label,
    simulated: bool,
) -> Result<Capture, JobError> {
    let kept = shelf.get(name.image, Some(specimen)).map_err(|error| match error {
        ShelfError::BadId { .. } if name.image == BACK => JobError::Usage(format!(
            "{BACK} is what the module held before the last write, and only a plan can be of that: \
             {PLAN_BACK} makes it"
        )),
        ShelfError::BadId { .. } => JobError::Usage(format!(
            "{}: no such file, and no capture id; name a file, an id such as 0417-003, @last or @blank",
            one_line(name.image)
        )),
        other => other.into(),
    })?;
    if name.range.is_some() {
        return Err(JobError::Usage(format!(
            "{RANGE} says what a file holds; the record of {} knows it, so leave it out",
            kept.id
        )));
    }
    if kept.record.simulated && !simulated {
        return Err(JobError::Safety(format!(
            "{} was taken from the simulated bench and this is a real module; if that is meant, \
             {ACCEPT}",
            kept.id
        )));
    }
    Ok(kept)
}

/// The spaces of a capture, found in the sheet by name.
pub(super) fn kept_parts(
    sheet: &Sheet,
    kept: &Capture,
    only: Option<&str>,
    content: &[u8],
) -> Result<Expected, JobError> {
    let (mut holds, mut parts) = (Vec::new(), Vec::new());
    for record in kept.record.spaces.iter().filter(|r| only.is_none_or(|only| only == r.name)) {
        let found = sheet.space(&record.name).filter(|(_, space)| {
            let end = u64::from(record.first.0) + u64::from(record.words);
            space.width == record.width
                && space.base == record.base
                && end <= u64::from(space.words)
        });
        let Some((space, of)) = found else {
            return Err(JobError::Usage(format!(
                "space {} of capture {} is not in the sheet of {}, or has other words there; was \
                 it taken with another sheet ({})?",
                record.name, kept.id, sheet.name, kept.record.sheet.name
            )));
        };
        refuse_unopened(of)?;
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
        parts.extend(compared(sheet, space, &part, bytes));
        holds.push((space, part));
    }
    if holds.is_empty() {
        let space = only.unwrap_or("any");
        return Err(JobError::Usage(format!("capture {} holds no space {space}", kept.id)));
    }
    Ok(Expected { holds, parts })
}
