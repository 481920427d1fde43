//! Which words of a module are meant.

use crate::bus::WordAddress;
use crate::jobs::JobError;
use crate::module::{Sheet, parse_range};
use crate::shelf::Part;

/// The spaces asked for, in sheet order, or one range of one space.
pub(super) fn parts(
    sheet: &Sheet,
    space: Option<&str>,
    range: Option<&str>,
) -> Result<Vec<(usize, Part)>, JobError> {
    let whole = |index: usize| {
        let space = &sheet.spaces[index];
        let part = Part {
            space: space.name.clone(),
            width: space.width,
            base: space.base,
            first: WordAddress(0),
            words: space.words,
        };
        (index, part)
    };
    let Some(name) = space else {
        if range.is_some() && sheet.spaces.len() > 1 {
            return Err(JobError::Usage("--range needs --space: which space is meant?".into()));
        }
        let mut all: Vec<_> = (0..sheet.spaces.len()).map(whole).collect();
        if let (Some(range), Some((_, part))) = (range, all.first_mut()) {
            narrow(part, range)?;
        }
        return Ok(all);
    };
    let Some((index, _)) = sheet.space(name) else {
        let names: Vec<_> = sheet.spaces.iter().map(|space| space.name.as_str()).collect();
        return Err(JobError::Usage(format!(
            "the sheet of {} has no space {name}; it has {}",
            sheet.name,
            names.join(", ")
        )));
    };
    let (index, mut part) = whole(index);
    if let Some(range) = range {
        narrow(&mut part, range)?;
    }
    Ok(vec![(index, part)])
}

/// A range as people write it: the address is hexadecimal, and its `0x` says so.
///
/// A decimal address would be a legal reading of what is mostly a forgotten `0x`, so neither is
/// guessed.
pub(super) fn read_range(range: &str) -> Result<(WordAddress, u32), JobError> {
    let (start, words) =
        parse_range(range).map_err(|error| JobError::Usage(format!("--range: {error}")))?;
    let (at, length) = range.split_once('+').map_or((range, ""), |(a, b)| (a.trim(), b.trim()));
    if !at.starts_with("0x") && !at.starts_with("0X") {
        return Err(JobError::Usage(format!(
            "--range {range}: is {at} hexadecimal or decimal? Addresses are written with 0x: \
             0x{at}+{length} if it is hexadecimal, {start}+{length} if it is decimal"
        )));
    }
    Ok((start, words))
}

fn narrow(part: &mut Part, range: &str) -> Result<(), JobError> {
    let (start, words) = read_range(range)?;
    let first = start.0.checked_sub(part.base.0);
    let fits = |first: u32| u64::from(first) + u64::from(words) <= u64::from(part.words);
    match first {
        Some(first) if fits(first) => {
            part.first = WordAddress(first);
            part.words = words;
            Ok(())
        }
        _ => Err(JobError::Usage(format!(
            "range {range} is not inside space {}, which has words {}+0x{:X}",
            part.space, part.base, part.words
        ))),
    }
}
