//! The real program on the simulated bench: what it says, where, and with which exit code.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "cli/capture.rs"]
mod capture;
#[path = "cli/files.rs"]
mod files;
#[path = "support/home.rs"]
mod home;
#[path = "cli/output.rs"]
mod output;
#[path = "cli/ports.rs"]
mod ports;
#[path = "cli/sheets.rs"]
mod sheets;
#[path = "cli/shelf.rs"]
mod shelf;
#[path = "cli/verify.rs"]
mod verify;
