//! The books: what happened, so that a test can ask.

use crate::bus::{Millivolts, Nanos, WordAddress};
use crate::wire::{FaultCode, Kind, RunId};
use std::collections::BTreeMap;
use std::fmt;

/// Entries kept of each list; the counts go on.
const KEPT: usize = 256;

/// Why the rail changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RailWhy {
    /// A RAIL request.
    Asked,
    /// It stayed below the floor.
    DidNotRise,
    /// It fell below the floor.
    Sagged,
    /// The current limit was reached.
    OverCurrent,
    /// No good frame for five seconds.
    DeadMan,
    /// The adapter was reset.
    Reset,
}

/// One change of the rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RailEntry {
    /// When.
    pub at: Nanos,
    /// Switched on, or off.
    pub on: bool,
    /// Why.
    pub why: RailWhy,
}

/// A run, REPEAT or HOLD of a write that was begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunEntry {
    /// When.
    pub at: Nanos,
    /// Its place in the chain.
    pub id: RunId,
    /// Its status; `None` while it is at work, and for ever if the adapter was reset.
    pub status: Option<u8>,
}

/// A rule of the wire that the host broke.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HostViolation {
    /// A request before HELLO.
    NoSession(Kind),
    /// More request bytes than may wait.
    Overrun(Kind),
    /// A body with a good checksum and a bad field.
    Malformed(Kind, usize),
    /// A kind that does not exist.
    Unknown(Kind),
    /// The rail was on and nothing came for five seconds.
    DeadMan,
}

impl fmt::Display for HostViolation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSession(kind) => write!(f, "{kind} came before HELLO"),
            Self::Overrun(kind) => write!(f, "{kind} had no room in the queue"),
            Self::Malformed(kind, at) => write!(f, "{kind} is malformed at byte {at}"),
            Self::Unknown(kind) => write!(f, "{kind} is no request"),
            Self::DeadMan => f.write_str("the rail was on and no good frame came for 5 s"),
        }
    }
}

/// What an adapter has seen and done since it was made; a reset does not clear it.
#[derive(Clone, Debug, Default)]
pub struct Books {
    requests: BTreeMap<u8, u64>,
    replies: BTreeMap<u8, u64>,
    faults: BTreeMap<u8, u64>,
    highest_run: Option<u32>,
    /// Words read.
    pub words_read: u64,
    /// Words written.
    pub words_written: u64,
    /// Times the adapter was reset.
    pub resets: u64,
    /// Sessions begun.
    pub sessions: u64,
    /// Runs begun.
    pub runs: u64,
    /// Runs begun with an id that was not above every id begun in that session: never any.
    pub runs_twice: u64,
    /// The runs, oldest first; the oldest of very many are dropped.
    pub ran: Vec<RunEntry>,
    /// Every change of the rail, oldest first; the oldest of very many are dropped.
    pub rail: Vec<RailEntry>,
    /// Rules the host broke, oldest first; the oldest of very many are dropped.
    pub violations: Vec<(Nanos, HostViolation)>,
    /// How many there were.
    pub violation_count: u64,
}

impl Books {
    /// Requests of `kind` that were begun: HELLO, PING and STOP when they came in, the others
    /// when their turn came.
    pub fn requests(&self, kind: Kind) -> u64 {
        self.requests.get(&kind.0).copied().unwrap_or(0)
    }

    /// Replies of `kind` handed to the transmitter.
    pub fn replies(&self, kind: Kind) -> u64 {
        self.replies.get(&kind.0).copied().unwrap_or(0)
    }

    /// FAULT replies with `code`.
    pub fn faults(&self, code: FaultCode) -> u64 {
        self.faults.get(&code.0).copied().unwrap_or(0)
    }

    pub(super) fn request(&mut self, kind: Kind) {
        *self.requests.entry(kind.0).or_default() += 1;
    }

    pub(super) fn reply(&mut self, kind: Kind) {
        *self.replies.entry(kind.0).or_default() += 1;
    }

    pub(super) fn fault(&mut self, code: FaultCode) {
        *self.faults.entry(code.0).or_default() += 1;
    }

    pub(super) fn rail(&mut self, at: Nanos, on: bool, why: RailWhy) {
        push(&mut self.rail, RailEntry { at, on, why });
    }

    /// A session begins, or the adapter is reset: ids may begin anew.
    pub(super) fn ids_begin(&mut self) {
        self.highest_run = None;
    }

    pub(super) fn run_began(&mut self, at: Nanos, id: RunId) {
        self.runs += 1;
        self.runs_twice += u64::from(self.highest_run.is_some_and(|highest| highest >= id.run));
        self.highest_run = Some(id.run);
        push(&mut self.ran, RunEntry { at, id, status: None });
    }

    pub(super) fn run_ended(&mut self, id: RunId, status: u8) {
        if let Some(entry) = self.ran.iter_mut().rev().find(|entry| entry.id == id) {
            entry.status.get_or_insert(status);
        }
    }

    pub(super) fn violation(&mut self, at: Nanos, what: HostViolation) {
        self.violation_count += 1;
        push(&mut self.violations, (at, what));
    }
}

/// A rule of the module that the adapter or its times broke.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ModuleViolation {
    /// A cycle while the rail was too low.
    Unpowered(WordAddress, Millivolts),
    /// Two memories drive the same lines.
    TwoSelected(WordAddress),
    /// Set-up and pulse are shorter than the access time, in ns.
    TooFast(WordAddress, u64),
    /// A write that the memory cannot take.
    WriteIgnored(WordAddress),
    /// A write cycle of a shape that has none.
    NoWriteShape(WordAddress),
}

impl fmt::Display for ModuleViolation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unpowered(at, mv) => write!(f, "a cycle at {at} with a rail of {mv}"),
            Self::TwoSelected(at) => write!(f, "two memories drive the same lines at {at}"),
            Self::TooFast(at, ns) => write!(f, "sampled {ns} ns after the select at {at}"),
            Self::WriteIgnored(at) => write!(f, "a write at {at} that the memory cannot take"),
            Self::NoWriteShape(at) => write!(f, "a write at {at} by a shape without writes"),
        }
    }
}

/// What a simulated module has seen.
#[derive(Clone, Debug, Default)]
pub struct ModuleBooks {
    /// Read cycles.
    pub reads: u64,
    /// Write cycles.
    pub writes: u64,
    /// Times it got power.
    pub power_ups: u64,
    /// Broken rules, oldest first; the oldest of very many are dropped.
    pub violations: Vec<ModuleViolation>,
    /// How many there were.
    pub violation_count: u64,
}

impl ModuleBooks {
    pub(super) fn violation(&mut self, what: ModuleViolation) {
        self.violation_count += 1;
        push(&mut self.violations, what);
    }
}

fn push<T>(list: &mut Vec<T>, entry: T) {
    if list.len() == KEPT {
        list.remove(0);
    }
    list.push(entry);
}
