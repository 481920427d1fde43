//! The cycle script: a bus program that an adapter runs by itself and that knows no chip.
//!
//! `docs/script.md` is the text that both interpreters are held to; `tests/vectors/scripts.txt`
//! keeps them equal. [`Builder`] makes a script, [`check`] proves that it ends, [`Run`] runs it;
//! [`list`] turns it into text and [`parse`] text into a script.

mod builder;
mod check;
mod code;
mod encode;
mod ended;
mod env;
mod error;
mod limits;
mod list;
mod measure;
mod op;
mod parse;
mod run;
mod text_error;
mod words;

pub use builder::{BuildError, Builder};
pub use check::{Checked, check};
pub use code::{OPCODES, Opcode};
pub use encode::{Placed, Script};
pub use ended::{Abort, Ended, LaneResult, Mismatch, Why};
pub use env::{Env, LineRefusal};
pub use error::{CheckError, Refusal, StartError};
pub use limits::{LaneRule, Limits, SlotRule};
pub use list::list;
pub use measure::Need;
pub use op::{Expect, Line, Op, Place, Source, Sweep, SweepOp, Times, Wait, WaitKind};
pub use parse::{Written, parse, parse_lines};
pub use run::{Run, Start, Status};
pub use text_error::{TextError, TextFault};
