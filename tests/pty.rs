//! The real program over a real pseudo-terminal or socket to a bench in another process: pulled
//! plugs, killed programs, signals, rates.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "pty/crashes.rs"]
mod crashes;
#[path = "support/home.rs"]
mod home;
#[path = "pty/interruptions.rs"]
mod interruptions;
#[path = "pty/ports.rs"]
mod ports;
#[path = "pty/relay.rs"]
mod relay;
#[path = "pty/served.rs"]
mod served;
#[path = "pty/sheets.rs"]
mod sheets;
#[path = "pty/signals.rs"]
mod signals;
#[path = "pty/tcp.rs"]
mod tcp;
#[path = "pty/writes.rs"]
mod writes;
