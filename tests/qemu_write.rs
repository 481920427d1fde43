//! Writing through the whole chain onto flash that this project did not write: plan, write, stop,
//! resume, the way back, erase, with QEMU's flash models behind the simulated adapter.
//!
//! Each time every byte of the backing files must be as intended, and each write cycle is judged by
//! a decoder of the tests' own. A module without supply has no QEMU: what it holds afterwards was
//! on the disk. QEMU lets programming set bits from 0 to 1 in its Intel family and never fails a
//! cell, so that side is judged by the decoder, which knows better.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "qemu_write/amd.rs"]
mod amd;
#[path = "qemu_write/boot.rs"]
mod boot;
#[path = "qemu_write/images.rs"]
mod images;
#[path = "qemu_write/intel.rs"]
mod intel;
#[path = "qemu_write/judge/mod.rs"]
mod judge;
#[path = "qemu_write/modules.rs"]
mod modules;
#[path = "qemu_write/rig.rs"]
mod rig;
#[path = "qemu_write/side_by_side.rs"]
mod side_by_side;
mod support;
#[path = "support/virtual_time.rs"]
mod virtual_time;
