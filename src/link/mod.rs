//! The host's side of the wire: a session core that owns no clock and no port, an asynchronous
//! face for jobs, and a small shell of real ports under `shell/`.
//!
//! [`Session`] takes bytes and time and gives bytes and time-outs. [`Client`] is what jobs await.
//! [`drive`] runs a job over a [`Port`]; a real port sleeps until the next time-out, a simulated
//! one jumps to it.

mod asked;
mod chain;
mod client;
mod connect;
mod drive;
mod error;
mod expect;
mod session;
#[cfg(test)]
mod session_tests;
pub mod shell;
mod stats;

pub use asked::Transmit;
pub use chain::Chain;
pub use client::Client;
pub use connect::{FoundAgain, RatePlan, connect, connect_told, find_again, raise_rate};
pub use drive::{Cancel, Port, PortLost, drive};
pub use error::{Heard, LinkError};
pub use session::{Session, Ticket};
pub use stats::LinkStats;
