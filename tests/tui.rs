//! The workbench as a real program on a real pseudo-terminal, its screen read by a parser of
//! terminal codes.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "tui/ends.rs"]
mod ends;
#[path = "support/home.rs"]
mod home;
#[path = "tui/stalls.rs"]
mod stalls;
#[path = "tui/terminal.rs"]
mod terminal;
#[path = "tui/work.rs"]
mod work;
#[path = "tui/writes.rs"]
mod writes;
