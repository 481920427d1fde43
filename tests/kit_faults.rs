//! The firmware as machine code under faults: what docs/wire.md promises is asked of the pins and of
//! the line, in simulated time. The rig of tests/kit makes the faults and keeps the books.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "kit_faults/bench.rs"]
mod bench;
#[path = "kit_faults/damage.rs"]
mod damage;
#[path = "kit_faults/large.rs"]
mod large;
#[path = "kit_faults/lasting.rs"]
mod lasting;
#[path = "kit_faults/lines.rs"]
mod lines;
#[path = "kit_faults/overrun.rs"]
mod overrun;
#[path = "kit_faults/rates.rs"]
mod rates;
#[path = "kit_faults/reset.rs"]
mod reset;
#[path = "kit_faults/rows.rs"]
mod rows;
#[path = "kit_faults/sag.rs"]
mod sag;
#[path = "kit_faults/scripts.rs"]
mod scripts;
#[path = "kit_faults/sessions.rs"]
mod sessions;
#[path = "kit_faults/stretch.rs"]
mod stretch;
mod support;
#[path = "kit_faults/vanished.rs"]
mod vanished;
#[path = "kit_faults/walk.rs"]
mod walk;
