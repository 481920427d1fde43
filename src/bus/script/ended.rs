//! How a run ended.

use crate::bus::{Nanos, Word, WordAddress};

/// Who asked a run to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Abort {
    /// STOP.
    Stop,
    /// No good frame for too long.
    DeadMan,
    /// The rail is to be switched off.
    RailOff,
    /// Another session has begun.
    Session,
}

/// Why a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Why {
    /// The last operation was reached and every lane of every wait was done.
    Good,
    /// It was asked to.
    Stopped(Abort),
    /// A lane of a wait failed or stopped at another value.
    WaitFailed,
    /// Every lane of a wait that is not done timed out, or the ready line never said ready.
    TimedOut,
    /// The permit covers no such write, or moving that line.
    NotPermitted,
    /// The shape has no write phases.
    ReadOnly,
    /// A partial write that the shape forbids, or without a rest value.
    PartialLanes,
    /// The shape slot is not defined.
    NoShape,
    /// The board has no such line.
    NoLine,
    /// The rail was lost; `finally` did not run.
    PowerLost,
}

impl Why {
    /// Its number on the wire.
    pub const fn number(self) -> u8 {
        match self {
            Self::Good => 0,
            Self::Stopped(Abort::Stop) => 1,
            Self::Stopped(Abort::DeadMan) => 2,
            Self::Stopped(Abort::RailOff) => 3,
            Self::Stopped(Abort::Session) => 4,
            Self::WaitFailed => 5,
            Self::TimedOut => 6,
            Self::NotPermitted => 7,
            Self::ReadOnly => 8,
            Self::PartialLanes => 9,
            Self::NoShape => 10,
            Self::NoLine => 11,
            Self::PowerLost => 12,
        }
    }

    /// Every one.
    const ALL: [Self; 13] = [
        Self::Good,
        Self::Stopped(Abort::Stop),
        Self::Stopped(Abort::DeadMan),
        Self::Stopped(Abort::RailOff),
        Self::Stopped(Abort::Session),
        Self::WaitFailed,
        Self::TimedOut,
        Self::NotPermitted,
        Self::ReadOnly,
        Self::PartialLanes,
        Self::NoShape,
        Self::NoLine,
        Self::PowerLost,
    ];

    /// The one with that number; firmware of later versions may know more.
    pub fn of_number(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|why| why.number() == number)
    }

    /// Its name in vectors and listings.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Stopped(Abort::Stop) => "stopped",
            Self::Stopped(Abort::DeadMan) => "dead-man",
            Self::Stopped(Abort::RailOff) => "rail-off",
            Self::Stopped(Abort::Session) => "session",
            Self::WaitFailed => "wait-failed",
            Self::TimedOut => "timed-out",
            Self::NotPermitted => "not-permitted",
            Self::ReadOnly => "read-only",
            Self::PartialLanes => "partial-lanes",
            Self::NoShape => "no-shape",
            Self::NoLine => "no-line",
            Self::PowerLost => "power-lost",
        }
    }
}

/// What became of a lane in the last wait.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum LaneResult {
    /// There was no wait, or the lane is outside the mask or the word.
    #[default]
    Unasked,
    /// It read as expected.
    Done,
    /// It stands still at another value.
    Different,
    /// It shows a fail bit.
    Failed,
    /// The run ended before it was known.
    Aborted,
    /// It was still busy at the time-out.
    TimedOut,
}

impl LaneResult {
    /// Its number on the wire.
    pub const fn number(self) -> u8 {
        match self {
            Self::Unasked => 0,
            Self::Done => 1,
            Self::Different => 2,
            Self::Failed => 3,
            Self::Aborted => 4,
            Self::TimedOut => 5,
        }
    }

    /// The one with that number; firmware of later versions may know more.
    pub fn of_number(number: u8) -> Option<Self> {
        let all = [
            Self::Unasked,
            Self::Done,
            Self::Different,
            Self::Failed,
            Self::Aborted,
            Self::TimedOut,
        ];
        all.into_iter().find(|result| result.number() == number)
    }

    /// Its name in vectors and listings.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unasked => "-",
            Self::Done => "done",
            Self::Different => "different",
            Self::Failed => "failed",
            Self::Aborted => "aborted",
            Self::TimedOut => "timed-out",
        }
    }
}

/// A word that a sweep did not expect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mismatch {
    /// Where.
    pub address: WordAddress,
    /// What should have been read, in the lanes of the mask.
    pub expected: Word,
    /// What was read.
    pub got: Word,
}

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended {
    /// Offset of the operation where it ended; the script's length after a good end.
    pub at: u32,
    /// Why.
    pub why: Why,
    /// The lanes of the last wait, the lowest first.
    pub lanes: [LaneResult; 4],
    /// A at the end.
    pub a: WordAddress,
    /// The word read last.
    pub d: Word,
    /// Bus time from the first operation to the end.
    pub elapsed: Nanos,
    /// Words emitted.
    pub emitted: u32,
    /// Mismatches of all sweeps, recorded or not.
    pub mismatches: u32,
}

impl Ended {
    /// True if the next run of the chain may go on from here.
    pub fn good(&self) -> bool {
        self.why == Why::Good
    }
}
