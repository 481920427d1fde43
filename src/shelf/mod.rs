//! The shelf: captures with their records, unfinished captures, histories.
//!
//! Nothing on the shelf is ever overwritten or deleted: a finished capture is a folder that is
//! moved into place whole, histories and notes only grow. The disk is reached only through
//! [`Disk`], which has no way to delete. Times are given by the caller; nothing here reads a clock.
//!
//! ```text
//! captures/0417-003/     content.bin, record.toml, notes.jsonl (and start.toml, progress.log)
//! unfinished/0417_tg-7/  content.bin, progress.log, start.toml
//! set-aside/0417_tg-7.1/ an unfinished capture that did not fit the next one of that specimen; one
//!                        that fits takes it back
//! histories/0417_tg-7.jsonl
//! identities/0417_tg-7.jsonl
//! plans/K7M2QX/          plan.toml, target.bin
//! journals/0417_tg-7/   0001-K7M2QX.log
//! locks/
//! ```

mod captures;
mod check;
mod disk;
mod error;
mod export;
mod files;
mod finish;
mod history;
mod id;
mod identity;
mod journal;
mod label;
mod lacks;
mod lines;
#[cfg(test)]
mod mem_disk;
mod notes;
mod os_disk;
mod pending;
mod plan;
mod progress;
mod record;
mod start;
mod text;
mod unfinished;
mod written;

#[cfg(test)]
mod tests;

pub(crate) use captures::{Capture, Listing, Shelf, Summary};
pub(crate) use disk::Disk;
pub(crate) use error::ShelfError;
pub(crate) use export::Exported;
pub(crate) use history::HistoryLine;
pub(crate) use id::CaptureId;
pub(crate) use identity::{Identified, IdentifiedSpace};
pub(crate) use journal::{Beginning, Journal, LockedSectors, Stage, Step, Told};
pub(crate) use label::{Label, LabelError};
pub(crate) use lacks::{Lacks, SpaceSummary};
pub(crate) use notes::Note;
pub(crate) use os_disk::OsDisk;
pub(crate) use pending::Pending;
pub(crate) use plan::{
    Action, ChipFile, Estimate, ImageRecord, Plan, PlanCode, PlannedSector, PlannedSpace,
    StoredPlan,
};
pub(crate) use record::{
    AdapterRecord, ChipRecord, DoubtRecord, LinkRecord, PassRecord, Record, SheetRecord,
    SpaceRecord, UnsteadyRecord,
};
pub(crate) use start::{BLOCK_BYTES, Block, Part, Start, cut_blocks};
pub(crate) use text::sha256_hex;
pub(crate) use unfinished::Unfinished;
pub(crate) use written::Answered;

#[cfg(test)]
pub(crate) use {check::CheckReport, mem_disk::MemDisk, mem_disk::Tear};

use check::Fault;
#[cfg(test)]
use {finish::Finished, history::History, record::NOT_LOOKED};
