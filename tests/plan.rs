//! Plans: through the program on the built-in benches, and on made-up modules of every family in
//! simulated time. The chips' books are the witness that planning changes nothing.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "plan/changed.rs"]
mod changed;
#[path = "plan/command.rs"]
mod command;
#[path = "plan/families.rs"]
mod families;
#[path = "support/home.rs"]
mod home;
#[path = "plan/images.rs"]
mod images;
#[path = "plan/pages.rs"]
mod pages;
#[path = "plan/rig.rs"]
mod rig;
#[path = "support/virtual_time.rs"]
mod virtual_time;
