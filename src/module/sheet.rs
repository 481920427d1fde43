//! Module sheets: what one kind of module is.

use super::source::sha256_hex;
use super::{Chip, Level, LineLevel, LineName, Zone};
use crate::bus::script::Script;
use crate::bus::{Millivolts, Width, WordAddress};
use crate::chips::Family;
use std::collections::BTreeSet;

/// What a module sheet says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// The kind of module, 1 to 64 characters.
    pub name: String,
    /// A longer name for screens; the name where the sheet gives none.
    pub title: String,
    /// The rail the module needs.
    pub rail: Millivolts,
    /// Address lines of the module, 1 to 32.
    pub address_lines: u8,
    /// What answers on the bus, in sheet order; at least one.
    pub spaces: Vec<Space>,
    /// Named ranges, in sheet order.
    pub zones: Vec<Zone>,
    /// Lines that must have a level before anything else, in sheet order.
    pub checks: Vec<LineCheck>,
    /// Connector pins, in sheet order.
    pub pins: Vec<Pin>,
    /// Who wrote it.
    pub author: Option<String>,
    /// Which issue of the sheet it is.
    pub revision: Option<String>,
    /// The specimens it was tried on.
    pub tried_on: Option<String>,
    /// The text it was read from.
    pub text: String,
}

/// What kind of memory a space is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Written by command sequences, erased by sectors.
    Flash,
    /// Written word by word.
    Ram,
    /// Never written.
    Rom,
}

impl Kind {
    /// The word the sheet uses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Flash => "flash",
            Self::Ram => "ram",
            Self::Rom => "rom",
        }
    }
}

/// What answers to one shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Space {
    /// Its name, unlike that of any other space of the sheet.
    pub name: String,
    /// What kind of memory it is.
    pub kind: Kind,
    /// Data lines, from D0.
    pub width: Width,
    /// The first word, as the module's address lines count.
    pub base: WordAddress,
    /// Length in words, at least 1; what the address lines leave room for, where the sheet does
    /// not give it.
    pub words: u32,
    /// True if the sheet gives the length; otherwise the chips must tell it.
    pub words_known: bool,
    /// Control lines that select it; may be empty only if it is the module's one space.
    pub select: Vec<LineLevel>,
    /// Control lines that strobe a read.
    pub read: Vec<LineLevel>,
    /// Control lines that strobe a write; `None` for rom.
    pub write: Option<Vec<LineLevel>>,
    /// The command family of a flash space, if the sheet knows it.
    pub family: Option<Family>,
    /// Its chips, lowest data lines first; they fill the width.
    pub chips: Vec<Chip>,
    /// Its times.
    pub timing: Timing,
    /// True if the contents live on a backup cell.
    pub battery: bool,
    /// What the module itself does to data lines that nobody drives.
    pub pull: Option<Pull>,
    /// True if buffers on the module stand between connector and chips and drive the data lines
    /// whether or not a chip answers.
    pub buffered: bool,
    /// Run before the space can be used; `shape` counts the spaces of the sheet.
    pub open: Option<Script>,
    /// Run after that.
    pub close: Option<Script>,
    /// Banks of `words` words each, shown one at a time: `open` takes the number of one.
    pub banks: Option<u32>,
}

/// What the module does to data lines that nobody drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Pull {
    /// Resistors pull them low.
    Low,
    /// Resistors pull them high.
    High,
    /// Bus holders keep the last level.
    Hold,
}

impl Pull {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Low, Self::High, Self::Hold];

    /// The word the sheet uses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::High => "high",
            Self::Hold => "hold",
        }
    }
}

impl Space {
    /// The last word.
    pub const fn last(&self) -> WordAddress {
        WordAddress(self.base.0 + (self.words - 1))
    }

    /// Every control line that its select or a strobe names; some twice.
    pub fn control_lines(&self) -> impl Iterator<Item = &str> {
        let all = self.select.iter().chain(&self.read).chain(self.write.iter().flatten());
        all.map(|one| one.line.as_str())
    }
}

/// Times of a space in nanoseconds.
///
/// The defaults are slow on purpose: a cycle costs far less than the serial line, and a sheet
/// that says nothing may stand for an old part (common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// Access time; the length of the strobes, 1 to 32767.
    pub access: u16,
    /// From address and selects to the strobe.
    pub set_up: u16,
    /// From the end of the strobe to the next change.
    pub hold: u16,
    /// Idle between two cycles.
    pub recover: u16,
    /// From outputs disabled to the bus let go.
    pub release: u16,
}

impl Default for Timing {
    fn default() -> Self {
        Self { access: 500, set_up: 100, hold: 100, recover: 100, release: 200 }
    }
}

/// A line that must have a level before anything else is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineCheck {
    /// A control line that no space drives.
    pub line: String,
    /// The level it must have.
    pub level: Level,
    /// What it means, in the words of the sheet.
    pub why: Option<String>,
}

/// A connector pin and the line on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// The pin as the sheet writes it, such as J1-3.
    pub pin: String,
    /// The line on it.
    pub line: LineName,
}

impl Sheet {
    /// SHA-256 of the text, 64 hexadecimal digits.
    pub fn sha256(&self) -> String {
        sha256_hex(&self.text)
    }

    /// The space of that name with its index.
    pub fn space(&self, name: &str) -> Option<(usize, &Space)> {
        self.spaces.iter().enumerate().find(|(_, space)| space.name == name)
    }

    /// The pins that carry `line`, in sheet order.
    pub fn pins_of(&self, line: &LineName) -> impl Iterator<Item = &str> {
        self.pins.iter().filter(move |pin| pin.line == *line).map(|pin| pin.pin.as_str())
    }

    /// Every control line that a select or a strobe names.
    pub fn control_lines(&self) -> BTreeSet<&str> {
        self.spaces.iter().flat_map(Space::control_lines).collect()
    }

    /// The widest space.
    pub fn width(&self) -> Width {
        self.spaces.iter().map(|space| space.width).max().unwrap_or(Width::W8)
    }
}
