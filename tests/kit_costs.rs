//! What the simulated adapter charges for its work against what the firmware needs for it as machine
//! code: both get the same requests, and a line that is not the bound, so that whatever time passes
//! is the processor's.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "kit_costs/bench.rs"]
mod bench;
#[path = "kit_costs/machine.rs"]
mod machine;
#[path = "kit_costs/reads.rs"]
mod reads;
#[path = "kit_costs/runs.rs"]
mod runs;
#[path = "kit_costs/simulated.rs"]
mod simulated;
mod support;
