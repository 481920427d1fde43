//! Everything that the screen shows and remembers. No value here does anything by itself.

use super::console::Console;
use super::dialogs::{Dialog, PlanForm};
use super::glyphs::Glyphs;
use super::theme::Theme;
use crate::app::Wanted;
use crate::app::workbench::{Doing, Line, ListLine, Mark, Order, Rail, Snapshot};
use crate::bus::WordAddress;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Lines of the log that the screen keeps.
const LOG: usize = 2_000;

/// A part of the screen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pane {
    /// Port, adapter, sheet, specimen, rail.
    #[default]
    Connection,
    /// What is known of each block.
    Map,
    /// Jobs as they go.
    Log,
    /// Cycles by hand.
    Console,
}

impl Pane {
    /// All, in the order of the Tab key.
    pub const ALL: [Self; 4] = [Self::Connection, Self::Map, Self::Log, Self::Console];

    /// Its title.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Connection => "Connection",
            Self::Map => "Memory map",
            Self::Log => "Transfer log",
            Self::Console => "Bus console",
        }
    }

    /// The next one, or the one before.
    pub fn beside(self, on: bool) -> Self {
        let at = Self::ALL.iter().position(|pane| *pane == self).unwrap_or(0);
        Self::ALL[(at + if on { 1 } else { 3 }) % 4]
    }
}

/// What Connection shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Details {
    /// Port, adapter, module.
    #[default]
    None,
    /// The chips.
    Chips,
    /// What the link has counted.
    Link,
}

impl Details {
    /// What comes next; without chips there is one less.
    pub fn next(self, no_chips: bool) -> Self {
        match self {
            Self::None if no_chips => Self::Link,
            Self::None => Self::Chips,
            Self::Chips => Self::Link,
            Self::Link => Self::None,
        }
    }
}

/// How near the map is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Zoom {
    /// Every space, a sign for each sector, or block.
    #[default]
    Module,
    /// A row for each sector or block of one space.
    Blocks,
    /// The words of the copy.
    Words,
}

/// What the signs of the map tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum View {
    /// How sure the copy is.
    #[default]
    Copy,
    /// What the plan does.
    Plan,
    /// How far the write is.
    Write,
}

/// What is to be offered by itself, once nobody is at something else.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "each of them can come with any other")]
pub struct Offers {
    /// A write is to be gone on with.
    pub unfinished: bool,
    /// Did the instrument start?
    pub started: bool,
    /// A plan is to be read.
    pub review: bool,
    /// What was asked of a plan is to be mended.
    pub form: bool,
    /// How a write has ended.
    pub end: bool,
    /// It came while a line was typed in the console, and waits until that is left.
    pub held: bool,
}

impl Offers {
    /// Something is to be offered.
    pub fn any(self) -> bool {
        self.unfinished || self.started || self.review || self.form || self.end
    }
}

/// Where the map is, and what it shows of the copy.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MapPane {
    /// What its signs tell.
    pub view: View,
    /// How near.
    pub zoom: Zoom,
    /// The space.
    pub space: usize,
    /// The sector in it, or the block where no sectors are known.
    pub block: usize,
    /// The first word shown, counted from the base of the space.
    pub word: u32,
    /// Words of the copy from `word` on, as far as they are shown.
    pub page: Vec<u32>,
}

/// The log.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogPane {
    /// Oldest first.
    pub lines: VecDeque<Line>,
    /// Rows between the newest one and the lowest that is shown.
    pub up: usize,
}

/// How it looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Styles.
    pub theme: Theme,
    /// Signs.
    pub glyphs: Glyphs,
}

/// The state.
pub struct State {
    /// How it looks.
    pub look: Look,
    /// Columns and rows.
    pub size: (u16, u16),
    /// The time of the last message.
    pub now: Instant,
    /// The pane that has the keys.
    pub focus: Pane,
    /// The pane before the console.
    pub before: Pane,
    /// What the core is at.
    pub core: Snapshot,
    /// The map.
    pub map: MapPane,
    /// The log.
    pub log: LogPane,
    /// The console.
    pub console: Console,
    /// The dialog that lies over the panes.
    pub dialog: Option<Dialog>,
    /// The port as it was chosen.
    pub port: String,
    /// Sheet, adapter sheet, specimen as they were chosen.
    pub wanted: Wanted,
    /// Ports that the system knows.
    pub ports: Vec<ListLine>,
    /// What is offered next.
    pub offers: Offers,
    /// Built-in sheets.
    pub sheets: Vec<String>,
    /// What Connection shows.
    pub details: Details,
    /// The cautions were read since the port was opened.
    pub cautioned: bool,
    /// A sentence in place of the key strip, until the next key.
    pub notice: Option<String>,
    /// A stop was asked for, and when.
    pub stop_asked: Option<Instant>,
    /// What was asked of the plan that was begun last.
    pub asked: Option<Box<PlanForm>>,
    /// What is to be written once there is leave.
    pub after_leave: Option<Order>,
    /// Another workbench had the port when it was looked at last.
    pub elsewhere: bool,
    /// The workbench ends as soon as the core has.
    pub leaving: bool,
}

impl State {
    /// A workbench that has nothing open.
    pub fn new(look: &Look, size: (u16, u16), now: Instant) -> Self {
        Self {
            look: *look,
            size,
            now,
            focus: Pane::default(),
            before: Pane::default(),
            core: Snapshot::default(),
            map: MapPane::default(),
            log: LogPane::default(),
            console: Console::default(),
            dialog: None,
            port: String::new(),
            wanted: Wanted::default(),
            ports: Vec::new(),
            offers: Offers::default(),
            sheets: Vec::new(),
            details: Details::default(),
            cautioned: false,
            notice: None,
            stop_asked: None,
            asked: None,
            after_leave: None,
            elsewhere: false,
            leaving: false,
        }
    }

    /// Adds a line to the log; what is scrolled back to stays in sight.
    pub fn log(&mut self, line: Line) {
        if self.log.lines.len() >= LOG {
            self.log.lines.pop_front();
        }
        if self.log.up > 0 {
            self.log.up += 1;
        }
        self.log.lines.push_back(line);
    }

    /// The rail is on, or nobody knows.
    pub fn rail_may_be_on(&self) -> bool {
        matches!(self.core.rail, Rail::On { .. } | Rail::Unknown)
    }

    /// A job runs, or the rail is on by hand.
    pub fn is_busy(&self) -> bool {
        self.core.doing != Doing::Nothing
    }

    /// Whole seconds that are left of the leave to write, in steps of five while there are many.
    pub fn leave_left(&self) -> Option<u64> {
        let until = self.core.leave?.until;
        let left = whole_ms(until.saturating_duration_since(self.now)).div_ceil(1_000);
        (left > 0).then_some(if left > 5 { left.div_ceil(5) * 5 } else { left })
    }

    /// When the screen changes by time alone; `None` if it does not.
    pub fn changes_at(&self) -> Option<Instant> {
        let until = self.core.leave?.until;
        let ms = whole_ms(until.saturating_duration_since(self.now));
        if ms == 0 {
            return None;
        }
        let step = if ms > 5_000 { ms - (ms - 1) / 5_000 * 5_000 } else { (ms - 1) % 1_000 + 1 };
        Some(self.now + Duration::from_millis(step))
    }

    /// A sector is being written: it is no safe point.
    pub fn writes_a_sector(&self) -> bool {
        self.core.map.iter().any(|map| map.in_hand.is_some())
    }

    /// The view of the map: a plan's only where there is one.
    pub fn view(&self) -> View {
        let planned = self.core.map.iter().any(|map| !map.planned.is_empty());
        if planned { self.map.view } else { View::Copy }
    }

    /// A workbench elsewhere is to be looked at again and again.
    pub fn follows(&self) -> bool {
        matches!(self.dialog, Some(Dialog::Elsewhere { there: Some(_), follow: true }))
    }

    /// The page of the copy that the map shows: space, bits, first word, how many.
    pub fn wanted_page(&self) -> Option<(usize, u32, u32, usize)> {
        let sheet = self.core.sheet.as_ref()?;
        let space = sheet.spaces.get(self.map.space).filter(|_| self.map.zoom == Zoom::Words)?;
        Some((self.map.space, space.bits, self.map.word, PAGE))
    }

    /// The sector or block under the cursor of the map, while that has the keys: its space, and
    /// its words on the bus.
    pub fn under_cursor(&self) -> Option<(usize, WordAddress, u32)> {
        let space = self.core.sheet.as_ref()?.spaces.get(self.map.space)?;
        let map = self.core.map.get(self.map.space).filter(|_| self.focus == Pane::Map)?;
        let at = match self.map.zoom {
            Zoom::Words => map.part_at(self.map.word),
            Zoom::Module | Zoom::Blocks => self.map.block,
        };
        let part = map.part(at)?;
        Some((self.map.space, space.base.plus(part.first), part.words))
    }

    /// What is known of the block that holds a word, counted from the base of the space.
    pub fn mark_of(&self, space: usize, word: u32) -> Mark {
        let map = self.core.map.get(space);
        let cell = map.and_then(|map| map.cells.get((word / map.block_words.max(1)) as usize));
        cell.map_or(Mark::NotRead, |cell| cell.mark)
    }
}

/// Words of a page: more than any window shows.
const PAGE: usize = 2_048;

/// Milliseconds, rounded up: what is over is over.
fn whole_ms(time: Duration) -> u64 {
    time.as_nanos().div_ceil(1_000_000) as u64
}
