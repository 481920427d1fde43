//! What a bus is: words, addresses, lanes, shapes, times and the cycles made of them.
//!
//! Nothing here reads a clock, opens anything or knows a chip: time is a value that callers pass.

mod cycles;
mod digest;
pub mod script;
mod shape;
mod time;
mod word;

pub use cycles::{Cycles, Precharge, Span};
pub(crate) use digest::crc32;
pub use digest::{Digest, Digester};
pub use shape::{Levels, Phases, Shape, ShapeId, ShapeRefusal, ShapeTimes};
pub use time::{Baud, Nanos};
pub use word::{ByteAddress, Lane, Millivolts, Width, Word, WordAddress};
