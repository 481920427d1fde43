//! Which words of a module are meant.

use super::sheets::refuse_unopened;
use crate::bus::WordAddress;
use crate::image::{RANGE, SPACE};
use crate::jobs::JobError;
use crate::module::{Sheet, Space, Zone, parse_range};
use crate::shelf::Part;
use std::collections::BTreeSet;

/// The words asked for: all spaces in sheet order, one of them, or one range of one.
#[derive(Clone, Copy, Default)]
pub(super) struct Asked<'a> {
    /// Only this space.
    pub space: Option<&'a str>,
    /// Only this range, as people write it.
    pub range: Option<&'a str>,
}

/// The parts of the module that may be read: what was asked for without zones that are never
/// touched, which cut it in pieces.
pub(super) fn parts(sheet: &Sheet, asked: Asked<'_>) -> Result<Vec<(usize, Part)>, JobError> {
    let mut pieces = Vec::new();
    for (index, part) in whole_parts(sheet, asked)? {
        let found = without(sheet, index, &part, |zone| zone.keep_off);
        if found.is_empty() {
            let at = part.base.plus(part.first.0);
            let zone = sheet.kept_off(index, at, part.words);
            let zone = zone.map_or("?", |zone| zone.name.as_str());
            return Err(JobError::Safety(format!(
                "every word asked for of space {} lies in zone {zone}, which the sheet of {} says \
                 is never to be touched (keep_off); ask for others",
                part.space, sheet.name
            )));
        }
        pieces.extend(found.into_iter().map(|piece| (index, piece)));
    }
    Ok(pieces)
}

/// What was asked for, whatever zones lie in it.
pub(super) fn whole_parts(sheet: &Sheet, asked: Asked<'_>) -> Result<Vec<(usize, Part)>, JobError> {
    let indices = match asked.space {
        Some(name) => vec![index(sheet, name)?],
        None if asked.range.is_some() && sheet.spaces.len() > 1 => {
            return Err(JobError::Usage(format!("{RANGE} needs {SPACE}: which space is meant?")));
        }
        None => (0..sheet.spaces.len()).collect(),
    };
    let one = |index: usize| {
        let space = &sheet.spaces[index];
        refuse_unopened(space)?;
        let part = match asked.range {
            Some(range) => narrowed(space, range)?,
            None if space.words_known => part(space, WordAddress(0), space.words),
            None => return Err(no_length(sheet, space)),
        };
        Ok((index, part))
    };
    indices.into_iter().map(one).collect()
}

/// The pieces of a part that lie in no zone that `out` names.
pub(super) fn without(
    sheet: &Sheet,
    space: usize,
    part: &Part,
    out: impl Fn(&Zone) -> bool,
) -> Vec<Part> {
    let pieces = sheet.pieces(space, part.base.plus(part.first.0), part.words, out);
    let one = |(start, words): (WordAddress, u32)| Part {
        first: WordAddress(start.0 - part.base.0),
        words,
        ..part.clone()
    };
    pieces.into_iter().map(one).collect()
}

/// Sentences about zones of the parts for which `which` holds: they are `what`.
pub(super) fn zone_notes(
    sheet: &Sheet,
    parts: &[(usize, Part)],
    which: impl Fn(&Zone) -> bool,
    what: &str,
) -> Vec<String> {
    let meant = |zone: &&Zone| {
        which(zone)
            && parts.iter().any(|(space, part)| {
                let first = u64::from(part.base.0) + u64::from(part.first.0);
                let end = first + u64::from(part.words);
                *space == zone.space
                    && u64::from(zone.start.0) < end
                    && u64::from(zone.last().0) >= first
            })
    };
    let note = |zone: &Zone| {
        let space = &sheet.spaces[zone.space].name;
        format!("zone {} of {space} ({}+0x{:X}) {what}", zone.name, zone.start, zone.words)
    };
    sheet.zones.iter().filter(meant).map(note).collect()
}

/// Sentences about the zones of these spaces that are never touched.
pub(super) fn keep_off_notes(sheet: &Sheet, spaces: impl Iterator<Item = usize>) -> Vec<String> {
    let spaces: BTreeSet<_> = spaces.collect();
    let whole = |index: usize| {
        let space = &sheet.spaces[index];
        (index, part(space, WordAddress(0), space.words))
    };
    let parts: Vec<_> = spaces.into_iter().map(whole).collect();
    let what = "is never touched, as the sheet says (keep_off): it is left out";
    zone_notes(sheet, &parts, |zone| zone.keep_off, what)
}

fn index(sheet: &Sheet, name: &str) -> Result<usize, JobError> {
    sheet.space(name).map(|(index, _)| index).ok_or_else(|| {
        let names: Vec<_> = sheet.spaces.iter().map(|space| space.name.as_str()).collect();
        JobError::Usage(format!(
            "the sheet of {} has no space {name}; it has {}",
            sheet.name,
            names.join(", ")
        ))
    })
}

fn part(space: &Space, first: WordAddress, words: u32) -> Part {
    let (name, width, base) = (space.name.clone(), space.width, space.base);
    Part { space: name, width, base, first, words }
}

fn no_length(sheet: &Sheet, space: &Space) -> JobError {
    JobError::Usage(format!(
        "the sheet of {} gives no length of space {}: identify it first and give its `words` in \
         the sheet, or name a range with {RANGE}",
        sheet.name, space.name
    ))
}

/// A range as people write it: the address is hexadecimal, and its `0x` says so.
///
/// A decimal address would be a legal reading of what is mostly a forgotten `0x`, so neither is
/// guessed.
pub(super) fn read_range(range: &str) -> Result<(WordAddress, u32), JobError> {
    let (start, words) =
        parse_range(range).map_err(|error| JobError::Usage(format!("{RANGE}: {error}")))?;
    let (at, length) = range.split_once('+').map_or((range, ""), |(a, b)| (a.trim(), b.trim()));
    // Below ten both readings are the same.
    let same = at.trim_start_matches('0').len() <= 1;
    if !at.starts_with("0x") && !at.starts_with("0X") && !same {
        return Err(JobError::Usage(format!(
            "{RANGE} {range}: is {at} hexadecimal or decimal? Addresses are written with 0x: \
             0x{at}+{length} if it is hexadecimal, {start}+{length} if it is decimal"
        )));
    }
    Ok((start, words))
}

fn narrowed(space: &Space, range: &str) -> Result<Part, JobError> {
    let (start, words) = read_range(range)?;
    let first = start.0.checked_sub(space.base.0);
    let fits = |first: u32| u64::from(first) + u64::from(words) <= u64::from(space.words);
    match first {
        Some(first) if fits(first) => Ok(part(space, WordAddress(first), words)),
        _ => Err(JobError::Usage(format!(
            "range {range} is not inside space {}, which has words {}+0x{:X}",
            space.name, space.base, space.words
        ))),
    }
}
