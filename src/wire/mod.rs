//! The wire: frames, requests, replies and encodings. Bytes in, values out.
//!
//! `docs/wire.md` is the normative text; the vectors in `tests/vectors/` hold both to it. Numbers
//! are little-endian. Nothing here keeps state but [`FrameReader`], which splits a byte stream.

mod digest;
mod fault;
mod field;
mod frame;
mod hello;
mod hold;
mod kind;
mod line;
mod message;
mod permit;
mod ping;
mod rail;
mod rate;
mod read;
mod run;
mod run_code;
mod script;
mod shape;
mod stop;

pub use digest::{DigestReply, DigestRequest};
pub use fault::{Busy, Fault, FaultCode};
pub use field::{Malformed, Why};
pub use frame::{FrameCounters, FrameReader, encode_frame, encode_frame_after_idle};
pub use hello::{AtomicTimes, ControlLine, DataPath, HelloReply, HelloRequest, Sizes, Supply};
pub use hold::{HoldReply, HoldRequest, Mark, RepeatReply, RepeatRequest};
pub use kind::Kind;
pub use line::{
    BoardLine, LineAction, LineLevels, LinesReply, LinesRequest, WalkReply, WalkRequest, WalkRow,
};
pub use message::{Reply, Request};
pub use permit::{PERMIT_ADDRESSES, PermitReply, PermitRequest};
pub use ping::{PingReply, RailState};
pub use rail::{RailAction, RailReply, RailRequest};
pub use rate::{RateReply, RateRequest};
pub use read::{Encoding, ReadEcho, ReadReply, ReadRequest};
pub use run::{RunId, RunReply, RunRequest};
pub use run_code::{RunCodeError, decode_runs, encode_runs};
pub use script::{ScriptReply, ScriptRequest};
pub use shape::{ShapeReply, ShapeRequest};
pub use stop::StopReply;

/// The protocol's major number: adapter and host must have the same.
pub const PROTOCOL_MAJOR: u8 = 1;

/// The protocol's minor number: raised when something is added that an older side may ignore.
pub const PROTOCOL_MINOR: u8 = 1;
