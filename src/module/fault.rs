//! What can be wrong with a sheet, said so that its writer can put it right.

use super::RangeError;
use crate::bus::{Lane, WordAddress};
use thiserror::Error;

/// A sheet that cannot be used, with the place in it.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{file}:{line}: {key}: {fault}; {}", fault.remedy())]
pub struct SheetError {
    /// The file as the caller named it.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The key, with the tables it is in.
    pub key: String,
    /// What is wrong.
    pub fault: Box<SheetFault>,
}

/// What is wrong with a key of a sheet.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum SheetFault {
    /// Not TOML.
    #[error("this is not TOML: {0}")]
    Toml(String),
    /// A key or table twice.
    #[error("this key or table stands here a second time")]
    Twice,
    /// More text than a sheet ever has.
    #[error("expected at most {most} bytes of text, got {got}")]
    TooLong {
        /// The limit in bytes.
        most: usize,
        /// The length in bytes.
        got: usize,
    },
    /// A key that no version knows.
    #[error("{table} has no such key")]
    UnknownKey {
        /// The table it stands in.
        table: &'static str,
        /// The known key it resembles.
        closest: Option<&'static str>,
        /// The table that does have this key.
        home: Option<&'static str>,
    },
    /// A key that must be there.
    #[error("this key is missing; expected {0}")]
    Missing(&'static str),
    /// A value of another kind or outside its limits.
    #[error("expected {expected}, got {got}")]
    Value {
        /// What may stand here.
        expected: String,
        /// What stands here.
        got: String,
    },
    /// A range that cannot be read.
    #[error(transparent)]
    Range(#[from] RangeError),
    /// A key that has no meaning for this kind of space.
    #[error("expected this key in a {wanted} space only, got it in a {kind} space")]
    NotForKind {
        /// The kinds it is for.
        wanted: &'static str,
        /// The kind of this space.
        kind: &'static str,
    },
    /// The same name or pin twice.
    #[error("`{name}` is already used in line {first}")]
    Duplicate {
        /// The name.
        name: String,
        /// The line of the first.
        first: usize,
    },
    /// A lane that is not inside the width of its space.
    #[error("lane {lane} of chip `{chip}` is outside D0-D{last}, the width of this space")]
    LaneOutside {
        /// The chip.
        chip: String,
        /// Its lane.
        lane: Lane,
        /// The highest data line of the space.
        last: u32,
    },
    /// Two chips on the same data lines.
    #[error("chips `{first}` and `{second}` both occupy {lines}")]
    LanesOverlap {
        /// A chip.
        first: String,
        /// The other chip.
        second: String,
        /// The lines both claim.
        lines: String,
    },
    /// Data lines that no chip occupies.
    #[error("no chip occupies {0}")]
    LinesUnfilled(String),
    /// A space that does not fit the address lines.
    #[error(
        "{words} words from {base} on end beyond {lines} address lines, which count 0x{count:X} words"
    )]
    SpaceTooLong {
        /// Its first word.
        base: WordAddress,
        /// Its length in words.
        words: u32,
        /// Address lines of the module.
        lines: u8,
        /// Words they count.
        count: u64,
    },
    /// Two spaces that answer in the same cycle.
    #[error(
        "spaces `{first}` and `{second}` are selected by the same levels, and both hold words {from} to {to}"
    )]
    SpacesOverlap {
        /// The space that stands first.
        first: String,
        /// The other space.
        second: String,
        /// The first word in both.
        from: WordAddress,
        /// The last word in both.
        to: WordAddress,
        /// A space of the two whose length the sheet does not give.
        unknown: Option<String>,
    },
    /// A control line that is select and strobe of one space.
    #[error("`{0}` is a select and a strobe of the same space")]
    SelectIsStrobe(String),
    /// The read strobes include the write strobes.
    #[error("the read strobes show every level of the write strobes, so reading would write")]
    ReadWrites,
    /// A line whose uses leave it no level for "nothing happens".
    #[error("`{line}` has no level that leaves both `{first}` and `{second}` idle")]
    NoIdle {
        /// The control line.
        line: String,
        /// A space.
        first: String,
        /// Another space, or the same.
        second: String,
    },
    /// Text that is no cycle script, or one that cannot be run for a space.
    #[error("{0}")]
    Script(String),
    /// Banks that nothing chooses.
    #[error("banks are chosen by a script `open` that takes the bank's number, and there is none")]
    BanksWithoutOpen,
    /// A line to be checked that the adapter drives.
    #[error("`{0}` is a select or a strobe, which the adapter drives: its level says nothing")]
    CheckDriven(String),
    /// A zone that is never read and yet captured.
    #[error("a zone that is never touched cannot be captured as live")]
    LiveKeptOff,
    /// A zone outside its space.
    #[error("words {from} to {to} are outside space `{space}`, which is {first} to {last}")]
    ZoneOutside {
        /// Its first word.
        from: WordAddress,
        /// Its last word.
        to: WordAddress,
        /// The space.
        space: String,
        /// The space's first word.
        first: WordAddress,
        /// The space's last word.
        last: WordAddress,
    },
    /// Two zones over the same words.
    #[error("it shares words {from} to {to} with zone `{other}` of line {line}")]
    ZonesOverlap {
        /// The first word in both.
        from: WordAddress,
        /// The last word in both.
        to: WordAddress,
        /// The zone that stands first.
        other: String,
        /// Its line.
        line: usize,
    },
    /// A name that is not in this sheet.
    #[error("expected {expected}, got `{got}`")]
    NoSuchName {
        /// What it should name.
        expected: String,
        /// The name.
        got: String,
        /// The name it resembles.
        closest: Option<String>,
    },
}

impl SheetFault {
    /// What the writer of the sheet should do.
    pub fn remedy(&self) -> String {
        match self {
            Self::UnknownKey { home: Some(home), .. } => return format!("move it to {home}"),
            Self::UnknownKey { closest: Some(key), .. } => {
                return format!("did you mean `{key}`?");
            }
            Self::NoSuchName { closest: Some(name), .. } => {
                return format!("did you mean `{name}`?");
            }
            Self::SpacesOverlap { unknown: Some(space), .. } => {
                return format!("give `words` of `{space}`, or each its own `select`");
            }
            Self::SpacesOverlap { .. } => "give each its own `select`, or move one by `base`",
            Self::Toml(_) => "strings need quotes, a table stands in [brackets], a list in [[two]]",
            Self::Twice => "remove one of the two; several tables of a kind are headed [[so]]",
            Self::TooLong { .. } => "check that this file is a sheet",
            Self::UnknownKey { .. } => "remove it, or put it in a # comment",
            Self::Missing(_) => "add it",
            Self::Value { .. } | Self::Range(_) => "correct the value",
            Self::NotForKind { .. } => "remove it, or correct `kind`",
            Self::Duplicate { .. } => "rename or remove one of the two",
            Self::LaneOutside { .. } => "correct the lane or `width`",
            Self::LanesOverlap { .. } => "give every chip lines of its own",
            Self::LinesUnfilled(_) => "name the chip on these lines, or correct a lane or `width`",
            Self::SpaceTooLong { .. } => "correct `base`, `words` or `address_lines`",
            Self::SelectIsStrobe(_) => "keep it in one of the two",
            Self::ReadWrites => "give the write a strobe that no read has",
            Self::NoIdle { .. } => "correct a level, or add a select line of its own to each",
            Self::Script(_) => "correct this line; docs/script.md tells what may stand there",
            Self::BanksWithoutOpen => "add `open`, or remove `banks`",
            Self::CheckDriven(_) => "remove it, or correct the line",
            Self::LiveKeptOff => "keep one of `live` and `keep_off`",
            Self::ZoneOutside { .. } => "correct `range` or `space`; addresses start at the base",
            Self::ZonesOverlap { .. } => "correct one of the two ranges",
            Self::NoSuchName { .. } => "correct the name",
        }
        .to_owned()
    }
}
