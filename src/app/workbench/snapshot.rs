//! What the screen knows of the core: a value that is copied before it is drawn.

use super::map::SpaceMap;
use super::planned::{PlanFacts, UnfinishedWrite, WriteEnd};
use crate::bus::{Word, WordAddress};
use crate::link::LinkStats;
use crate::module::Kind;
use std::sync::Arc;
use std::time::Instant;

/// How far the way to an adapter is open.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Phase {
    /// No port is open.
    #[default]
    Closed,
    /// A port is being opened, or an adapter looked for.
    Opening,
    /// The port is open and an adapter has answered.
    Ready,
    /// It did not work, or the port is gone.
    Failed(String),
}

/// What is known of the rail.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rail {
    /// Nobody has asked yet.
    #[default]
    NotAsked,
    /// Off, with the voltage that the adapter told.
    Off {
        /// Millivolts.
        mv: u16,
        /// Measured, not declared.
        measured: bool,
    },
    /// Off as declared, and a person has measured it.
    OffConfirmed,
    /// On, or on its way to it.
    On {
        /// Millivolts.
        mv: u16,
        /// Measured, not declared.
        measured: bool,
    },
    /// It was switched on, and the adapter is out of reach.
    Unknown,
}

/// What the core is at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Doing {
    /// Nothing.
    #[default]
    Nothing,
    /// A job, by the word that people use for it.
    Job(&'static str),
    /// The rail is on for cycles by hand.
    ByHand,
}

/// What HELLO told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AdapterFacts {
    /// The board.
    pub board: String,
    /// The firmware.
    pub firmware: String,
    /// The line rate in use.
    pub baud: Option<u32>,
    /// The rail that the board is set to.
    pub rail_mv: u16,
    /// The board measures it.
    pub rail_sensed: bool,
    /// High level of the lines.
    pub io_mv: u16,
    /// That level was measured.
    pub io_measured: bool,
    /// Control lines by name.
    pub control: Vec<String>,
    /// Data lines.
    pub data_lines: u8,
    /// Address lines.
    pub address_lines: u8,
}

/// A space of the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpaceFacts {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Bits of a word.
    pub bits: u32,
    /// The first word.
    pub base: WordAddress,
    /// Length in words.
    pub words: u32,
    /// The contents live on a backup cell.
    pub battery: bool,
    /// Chips with their lanes.
    pub chips: Vec<(String, Word)>,
}

/// A named range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ZoneFacts {
    /// Index of its space.
    pub space: usize,
    /// Its name.
    pub name: String,
    /// The first word.
    pub start: WordAddress,
    /// Length in words.
    pub words: u32,
    /// Never taken from an image unless named.
    pub keep: bool,
}

/// The module sheet in use.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetFacts {
    /// The kind of module.
    pub name: String,
    /// A longer name.
    pub title: String,
    /// The rail it asks for.
    pub rail_mv: u16,
    /// Spaces in sheet order.
    pub spaces: Vec<SpaceFacts>,
    /// Zones in sheet order.
    pub zones: Vec<ZoneFacts>,
    /// Module lines with their pins: name, pins.
    pub pins: Vec<(String, String)>,
}

/// A chip as identification has found it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChipFacts {
    /// Its reference on the module.
    pub reference: String,
    /// Its part, or what reading has shown.
    pub part: String,
    /// The same with maker and device codes.
    pub what: String,
    /// Its sectors; 0 while they are not known.
    pub sectors: u32,
}

/// How far a pass is.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// The space, and what is done with it.
    pub label: String,
    /// Bytes done.
    pub done: u64,
    /// Bytes in all.
    pub all: u64,
    /// Bytes a second over the last two seconds or so.
    pub rate_now: u64,
    /// Bytes a second since the pass began.
    pub rate_mean: u64,
    /// Seconds left; `None` while nobody can tell.
    pub left_s: Option<u64>,
}

/// A cycle that stands still.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// The space.
    pub space: usize,
    /// Where.
    pub address: WordAddress,
    /// What is written, if it is a write.
    pub value: Option<Word>,
    /// The data lines.
    pub data: Word,
}

/// Leave to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Leave {
    /// The space, where a person has asked for it.
    pub space: Option<usize>,
    /// Until when.
    pub until: Instant,
}

/// Everything that the screen shows of the core.
#[derive(Clone, Debug, Default)]
pub struct Snapshot {
    /// The port as people write it.
    pub port: String,
    /// How far the way to the adapter is open.
    pub phase: Phase,
    /// The adapter.
    pub adapter: Option<AdapterFacts>,
    /// The sheet.
    pub sheet: Option<Arc<SheetFacts>>,
    /// The individual module.
    pub specimen: Option<String>,
    /// The adapter is simulated.
    pub simulated: bool,
    /// The rail.
    pub rail: Rail,
    /// What is being done.
    pub doing: Doing,
    /// It is being stopped, and the safe state is reached within so many milliseconds.
    pub stopping: Option<u64>,
    /// The pass under way.
    pub progress: Option<Progress>,
    /// Chips that were identified, in the order of sheet and lanes.
    pub chips: Vec<ChipFacts>,
    /// What the link has counted in this session or the last one.
    pub link: Option<LinkStats>,
    /// Writes are allowed.
    pub leave: Option<Leave>,
    /// A cycle stands.
    pub held: Option<Held>,
    /// What is known of each space, in sheet order.
    pub map: Vec<SpaceMap>,
    /// The plan that was made last.
    pub plan: Option<Arc<PlanFacts>>,
    /// Why the last plan was refused for what was asked, until the next one begins.
    pub plan_refused: Option<Arc<String>>,
    /// The code of the plan whose sectors lie over the map.
    pub laid: Option<String>,
    /// How the last write has ended.
    pub write_end: Option<Arc<WriteEnd>>,
    /// A write of this module that is to be gone on with.
    pub unfinished: Option<Arc<UnfinishedWrite>>,
    /// The day of a write of which nobody has said whether the instrument started with it.
    pub unanswered: Option<String>,
    /// How often module and shelf were looked at, each time the adapter was found.
    pub looks: u64,
    /// Jobs that have ended, for whoever waits for one.
    pub ended: u64,
    /// The exit code of the last job.
    pub last_code: Option<u8>,
    /// The core has ended.
    pub over: bool,
}

impl Snapshot {
    /// The code of the plan that can be written; none where nothing is to be done.
    pub fn plan_code(&self) -> Option<&str> {
        self.plan.as_ref()?.code.as_deref()
    }
}
