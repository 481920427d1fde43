//! FAULT and BUSY: the replies that any request may get.

use super::Kind;
use super::field::{Fields, Malformed};
use std::fmt;

/// Why a request was refused or failed; codes this version does not know are kept and shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct FaultCode(pub u8);

/// Name, meaning and remedy of each code: one table for code, messages and `docs/wire.md`.
const CODES: &[(u8, &str, &str, &str)] = &[
    (1, "no session", "a request came before HELLO", "say HELLO first"),
    (2, "unknown request", "this firmware does not know the kind", "use newer firmware"),
    (
        3,
        "malformed",
        "a field is missing or has no meaning; detail is its byte",
        "report it: host and firmware read the wire differently",
    ),
    (4, "too long", "more words than a reply or a run may have", "ask for less"),
    (5, "rail off", "the module has no supply", "switch the rail on first"),
    (
        6,
        "shapes missing",
        "the adapter has another number of shapes than the host says; detail is its number",
        "define every shape again",
    ),
    (
        7,
        "shape refused",
        "reading would write, or the shape does not fit the board or another shape; detail tells which",
        "correct the sheet's selects and strobes",
    ),
    (8, "no such shape", "the slot is empty or beyond the last", "define the shape first"),
    (9, "rate not possible", "the clock cannot make the rate", "choose a rate that HELLO lists"),
    (
        10,
        "rail did not rise",
        "it stayed below the floor; detail is the highest voltage in mV",
        "take the module out and check it for a short, and the supply",
    ),
    (
        11,
        "rail sagged",
        "it fell below the floor and was switched off; detail is the voltage then in mV",
        "check supply and contacts, then start again",
    ),
    (
        12,
        "over-current",
        "the limit was reached and the rail switched off",
        "take the module out and check it for a short",
    ),
    (
        13,
        "powered through its lines",
        "the rail is still above 300 mV two seconds after it was switched off; detail is the voltage in mV",
        "do not touch the module: find the line that feeds it",
    ),
    (
        14,
        "voltage not possible",
        "the board has no such rail; detail is the one it has in mV",
        "set the board to the sheet's voltage",
    ),
    (
        15,
        "unknown encoding",
        "READ asked for an encoding that HELLO does not list",
        "ask for one it lists",
    ),
    (
        16,
        "beyond the lines",
        "an address needs more lines than the board has; detail is the address",
        "check base and words of the sheet",
    ),
    (17, "halted", "STOP or the dead-man came first", "start again"),
    (18, "session ended", "another host said HELLO", "only one host may use an adapter"),
    (
        19,
        "earlier run goes on",
        "work of the session before is being ended; detail is the longest time in ms",
        "wait and try again",
    ),
    (
        20,
        "not permitted",
        "no permit covers it: none was given, its time is over, or the address or lane lies outside; detail is the address",
        "ask for a permit that covers it, with the module's contents captured first",
    ),
    (
        21,
        "not the next run",
        "session, chain or id is not the one that follows, or the chain was halted; detail is the last id",
        "begin a new chain after looking at the module",
    ),
    (
        22,
        "script refused",
        "the checker refuses the script; detail is the byte",
        "report it: host and firmware check scripts differently",
    ),
    (23, "no such script", "the slot is empty or beyond the last", "store the script first"),
    (
        24,
        "another script",
        "the slot holds other bytes than the run means; detail is their checksum",
        "store the script again",
    ),
    (
        25,
        "payload does not fit",
        "the script takes another number of words for these start values; detail is that number",
        "report it: host and firmware count differently",
    ),
    (26, "slot in use", "a run of that slot is in progress", "wait for its end"),
    (
        27,
        "line refused",
        "the line does not exist, is driven by the module, or moving it could write; detail is group and line",
        "leave that line alone, or ask for a permit with the lines flag",
    ),
];

impl FaultCode {
    /// A request came before HELLO.
    pub const NO_SESSION: Self = Self(1);
    /// The kind is not known.
    pub const UNKNOWN_REQUEST: Self = Self(2);
    /// A field is missing or has no meaning.
    pub const MALFORMED: Self = Self(3);
    /// More words than a reply may have.
    pub const TOO_LONG: Self = Self(4);
    /// The rail is off.
    pub const RAIL_OFF: Self = Self(5);
    /// The number of shapes differs.
    pub const SHAPES_MISSING: Self = Self(6);
    /// The shape must not be used.
    pub const SHAPE_REFUSED: Self = Self(7);
    /// The slot holds no shape.
    pub const NO_SHAPE: Self = Self(8);
    /// The clock cannot make the rate.
    pub const RATE_NOT_POSSIBLE: Self = Self(9);
    /// The rail stayed below the floor.
    pub const RAIL_DID_NOT_RISE: Self = Self(10);
    /// The rail fell below the floor.
    pub const RAIL_SAGGED: Self = Self(11);
    /// The current limit was reached.
    pub const OVER_CURRENT: Self = Self(12);
    /// The rail stays up though it is off.
    pub const POWERED_THROUGH_LINES: Self = Self(13);
    /// The board has no such rail.
    pub const VOLTAGE_NOT_POSSIBLE: Self = Self(14);
    /// The encoding is not listed.
    pub const UNKNOWN_ENCODING: Self = Self(15);
    /// An address needs more lines.
    pub const BEYOND_LINES: Self = Self(16);
    /// STOP or the dead-man came first.
    pub const HALTED: Self = Self(17);
    /// Another host said HELLO.
    pub const SESSION_ENDED: Self = Self(18);
    /// Work of an earlier session is being ended.
    pub const EARLIER_RUN: Self = Self(19);
    /// No permit covers it.
    pub const NOT_PERMITTED: Self = Self(20);
    /// It is not the run that follows.
    pub const NOT_NEXT_RUN: Self = Self(21);
    /// The checker refuses the script.
    pub const SCRIPT_REFUSED: Self = Self(22);
    /// The slot holds no script.
    pub const NO_SCRIPT: Self = Self(23);
    /// The slot holds another script.
    pub const OTHER_SCRIPT: Self = Self(24);
    /// The payload is not what the script takes.
    pub const PAYLOAD_MISFIT: Self = Self(25);
    /// A run of the slot is in progress.
    pub const SLOT_IN_USE: Self = Self(26);
    /// The line must not be moved.
    pub const LINE_REFUSED: Self = Self(27);

    fn row(self) -> Option<&'static (u8, &'static str, &'static str, &'static str)> {
        CODES.iter().find(|row| row.0 == self.0)
    }

    /// What it means, in words.
    pub fn meaning(self) -> &'static str {
        self.row().map_or("a fault that this version does not know", |row| row.2)
    }

    /// What to do about it.
    pub fn remedy(self) -> &'static str {
        self.row().map_or("look it up in the firmware's wire text", |row| row.3)
    }

    /// Every code with name, meaning and remedy.
    pub fn table() -> impl Iterator<Item = (Self, &'static str, &'static str, &'static str)> {
        CODES.iter().map(|&(code, name, meaning, remedy)| (Self(code), name, meaning, remedy))
    }
}

impl fmt::Display for FaultCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.row() {
            Some(row) => f.write_str(row.1),
            None => write!(f, "fault {}", self.0),
        }
    }
}

/// FAULT: the request was refused or failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The kind of the request.
    pub of: Kind,
    /// Its nonce or run id; 0 for requests that carry none.
    pub id: u32,
    /// Why.
    pub code: FaultCode,
    /// A number whose meaning the code gives.
    pub detail: u32,
}

impl Fault {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.push(self.of.0);
        out.extend(self.id.to_le_bytes());
        out.push(self.code.0);
        out.extend(self.detail.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            of: Kind(f.u8("request kind")?),
            id: f.u32("nonce or run id")?,
            code: FaultCode(f.u8("code")?),
            detail: f.u32("detail")?,
        })
    }
}

/// BUSY: the request goes on; sent about once a second.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Busy {
    /// The kind of the request.
    pub of: Kind,
    /// Its nonce or run id.
    pub id: u32,
    /// Work done, in words or cycles.
    pub done: u32,
    /// All of it; 0 if the adapter cannot tell.
    pub whole: u32,
}

impl Busy {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.push(self.of.0);
        for n in [self.id, self.done, self.whole] {
            out.extend(n.to_le_bytes());
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            of: Kind(f.u8("request kind")?),
            id: f.u32("nonce or run id")?,
            done: f.u32("done")?,
            whole: f.u32("whole")?,
        })
    }
}
