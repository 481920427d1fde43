//! What a write cycle would do.

use crate::chips::Family;
use std::fmt;

/// How much a write changes, the least first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Act {
    /// Nothing, in any family.
    #[default]
    Harmless,
    /// Nothing by itself: it is part of a command.
    Part,
    /// Unlock cycles with a code that is not known here.
    Unknown,
    /// It changes a lock or a protection that can be changed back.
    Lock,
    /// It programs words.
    Program,
    /// It erases a sector, or a block of them.
    Erase,
    /// It erases the whole chip.
    EraseChip,
    /// It protects for good, or leads to where that is done: never made.
    Permanent,
}

/// What a write cycle would do in the chip where it does most.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// The chip, from 0, as they were listed.
    pub chip: usize,
    /// The chip's own address of the write.
    pub at: u32,
    /// The lower byte that the chip gets, its lines undone.
    pub value: u8,
    /// How much it changes.
    pub act: Act,
    /// Whose command that is; `None` if it is harmless.
    pub family: Option<Family>,
    /// The name of the command.
    pub command: &'static str,
}

impl Verdict {
    /// True if a chip would begin to change, so that a person must ask for it.
    pub fn changes(&self) -> bool {
        self.act > Act::Part
    }

    /// True if it is never made.
    pub fn is_refused(&self) -> bool {
        self.act == Act::Permanent
    }

    /// What it does, with the name of the chip where it has one.
    pub fn told(&self, chip: Option<&str>) -> String {
        let Self { at, value, command, .. } = self;
        let chip = chip.map_or_else(|| format!("chip {}", self.chip), str::to_owned);
        let does = match self.act {
            Act::Harmless => return format!("{value:02X} changes nothing"),
            Act::Part => "is part of a command",
            Act::Unknown => "ends a command that is not known here",
            Act::Lock => "changes a protection",
            Act::Program => "programs",
            Act::Erase => "erases",
            Act::EraseChip => "erases all of it",
            Act::Permanent => "protects for good, which is never done here",
        };
        let family = self.family.map_or_else(String::new, |family| format!(", {family} commands"));
        format!("{value:02X} at 0x{at:X} of {chip} {does} ({command}{family})")
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.told(None))
    }
}
