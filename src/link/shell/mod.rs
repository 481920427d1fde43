//! Real ports: serial devices and TCP. The only part of the link with a clock and threads.
//!
//! A blocking reader thread naps a few milliseconds between reads: 62-byte packets that wake a
//! process one by one cost about 200 ns a byte, naps 20 to 60 (measured on a pty).

mod open_error;
mod reader;
mod serial;
mod tcp;

pub use open_error::OpenError;
pub use reader::{Attention, RealPort};
pub use serial::{Opener, SystemOpener, open_serial, open_serial_with};
pub use tcp::open_tcp;
