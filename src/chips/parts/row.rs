//! Chip files: TOML with one `[[chip]]` a part, the built-in table among them.

use super::source::Source;
use super::{Bus, ChipFault, ChipFileError, Part};
use crate::chips::shown::shown;
use crate::chips::{Family, Unlock};
use serde::Deserialize;
use toml::Spanned;

/// No chip file comes near this; a file that does is something else.
const MOST_BYTES: usize = 512 * 1024;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    chip: Vec<Row>,
}

/// One `[[chip]]` table as it stands.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Row {
    pub name: Spanned<String>,
    pub maker: Spanned<u8>,
    pub bank: Option<Spanned<u8>>,
    pub device: Spanned<Vec<u16>>,
    pub bus: Bus,
    pub size: Spanned<String>,
    pub sectors: Option<Spanned<String>>,
    pub blocks: Option<Spanned<String>>,
    pub family: Option<Family>,
    pub unlock: Option<Unlock>,
    pub bypass: Option<Spanned<bool>>,
    pub page: Option<Spanned<u32>>,
    pub cfi: Option<bool>,
    pub vcc_mv: Option<Spanned<[u16; 2]>>,
    pub vpp_mv: Option<u16>,
    #[serde(default)]
    pub times: TimesRow,
    pub source: Spanned<String>,
    pub note: Option<Spanned<String>>,
}

/// Typical and longest time of each operation.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TimesRow {
    pub word_us: Option<Spanned<[u32; 2]>>,
    pub buffer_us: Option<Spanned<[u32; 2]>>,
    pub sector_ms: Option<Spanned<[u32; 2]>>,
    pub chip_ms: Option<Spanned<[u32; 2]>>,
}

/// Every part of a chip file.
pub(super) fn parse(file: &str, text: &str) -> Result<Vec<Part>, ChipFileError> {
    let source = Source { file, text };
    if text.len() > MOST_BYTES {
        let fault = ChipFault::TooLong { most: MOST_BYTES, got: text.len() };
        return Err(source.error(0, "(file)", fault));
    }
    let read: File = crate::notation::read(text).map_err(|error| {
        let at = error.span().map_or(0, |span| span.start);
        source.error(at, &source.key_at(at), ChipFault::Toml(shown(error.message())))
    })?;
    let mut seen: Vec<(String, usize)> = Vec::new();
    let mut parts = Vec::new();
    for row in &read.chip {
        let at = row.name.span().start;
        let part = source.part(row)?;
        if let Some((name, first)) = seen.iter().find(|(name, _)| *name == part.name) {
            let fault = ChipFault::Twice { name: name.clone(), first: *first };
            return Err(source.error(at, "name", fault));
        }
        seen.push((part.name.clone(), source.line(at)));
        parts.push(part);
    }
    Ok(parts)
}
