//! Command families as data: what is written where, with the datasheet beside it.

mod amd;
mod command;
mod intel;
mod jedec;
mod page;
mod status;
#[cfg(test)]
mod tests;
mod unlock;

pub use command::{Action, At, Command, Cycle, Put};
pub use status::{Status, StatusRegister};
pub use unlock::{BusMode, Unlock};

use crate::bus::Nanos;
use serde::{Deserialize, Serialize};
use std::fmt;

/// The family of command sequences that a flash chip follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Family {
    /// Unlock cycles at 555 and 2AA (AAA and 555 in byte mode).
    Amd,
    /// Unlock cycles at 5555 and 2AAA, small sectors.
    Jedec,
    /// Whole pages are loaded, erased and programmed in one go.
    Page,
    /// Command codes without unlock cycles, a status register.
    Intel,
}

/// Something to know before a command is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// The fact.
    pub text: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

/// Longest times to wait where a chip's own table gives none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// One byte or word, or one page.
    pub program: Nanos,
    /// One sector; `None` where none is erased by itself.
    pub sector_erase: Option<Nanos>,
    /// The whole chip; `None` where it takes as long as all its sectors one by one.
    pub chip_erase: Option<Nanos>,
    /// Where they come from.
    pub source: &'static str,
}

/// All that is known of a family.
struct Facts {
    commands: &'static [(Action, Command)],
    status: Status,
    limits: Limits,
    cautions: &'static [Caution],
}

impl Family {
    /// Every family.
    pub const ALL: [Self; 4] = [Self::Amd, Self::Jedec, Self::Page, Self::Intel];

    const fn facts(self) -> &'static Facts {
        match self {
            Self::Amd => &amd::FACTS,
            Self::Jedec => &jedec::FACTS,
            Self::Page => &page::FACTS,
            Self::Intel => &intel::FACTS,
        }
    }

    /// The command for `action`; `None` if the family has none, or none that is known.
    pub fn command(self, action: Action) -> Option<&'static Command> {
        let mut commands = self.facts().commands.iter();
        commands.find(|(known, _)| *known == action).map(|(_, command)| command)
    }

    /// How a chip tells that it is done.
    pub const fn status(self) -> Status {
        self.facts().status
    }

    /// Longest times where the chip's own table gives none.
    pub const fn limits(self) -> Limits {
        self.facts().limits
    }

    /// What to know before any command.
    pub const fn cautions(self) -> &'static [Caution] {
        self.facts().cautions
    }

    /// Its word in sheets and chip files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Amd => "amd",
            Self::Jedec => "jedec",
            Self::Page => "page",
            Self::Intel => "intel",
        }
    }
}

impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
