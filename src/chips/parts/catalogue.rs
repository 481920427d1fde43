//! All parts that are known: the built-in table and the files of users.

use super::{ChipFileError, Identity, Part, row};
use crate::bus::Width;
use crate::chips::{Family, MakerId};

/// All known parts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Catalogue {
    parts: Vec<Part>,
}

impl Catalogue {
    /// The name that parts of the built-in table have as their file.
    pub const BUILT_IN: &'static str = "built-in part list";

    /// The built-in table. Its error would be a fault of this program; a test reads it.
    pub fn built_in() -> Result<Self, ChipFileError> {
        let mut catalogue = Self::default();
        catalogue.add(Self::BUILT_IN, include_str!("parts.toml"))?;
        Ok(catalogue)
    }

    /// Adds the `[[chip]]` tables of `text`, all or none, and says how many. `file` names it in
    /// errors. A part may have the ids of one that is already there: both are then named.
    pub fn add(&mut self, file: &str, text: &str) -> Result<usize, ChipFileError> {
        let parts = row::parse(file, text)?;
        let added = parts.len();
        self.parts.extend(parts);
        Ok(added)
    }

    /// Every part, built-in ones first.
    #[cfg(test)]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The parts of a family of commands.
    pub fn of_family(&self, family: Family) -> impl Iterator<Item = &Part> {
        self.parts.iter().filter(move |part| part.family == Some(family))
    }

    /// The parts that may answer `maker` and `device` (one word, or three) on `width` lines of
    /// one chip.
    pub fn identify(&self, maker: MakerId, device: &[u16], width: Width) -> Identity<'_> {
        let answers = |part: &&Part| part.may_answer(maker, device, width);
        let found: Vec<_> = self.parts.iter().filter(answers).collect();
        match found[..] {
            [] => Identity::Unknown { maker, device: device.to_vec() },
            [part] => Identity::One(part),
            _ => Identity::Several(found),
        }
    }
}
