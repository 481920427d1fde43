//! What can go wrong on the shelf, and what to do about it.

use super::{CaptureId, Fault, LabelError};
use crate::bus::ByteAddress;
use crate::image::{PLAN, SHELF_LIST, one_line};
use std::io::{self, ErrorKind};
use std::path::PathBuf;
use thiserror::Error;

/// Why something could not be done on the shelf.
#[derive(Debug, Error)]
pub(crate) enum ShelfError {
    /// The disk refused.
    #[error("{}: could not {tried}: {error}; {}", one_line(path.display()), remedy(error))]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What was tried.
        tried: &'static str,
        /// What the system said.
        error: io::Error,
    },
    /// Another process works on the same unfinished capture.
    #[error(
        "{}: another buswright is working on this unfinished capture; wait until it has ended, \
         then start this command again", one_line(path.display())
    )]
    Busy {
        /// The unfinished capture.
        path: PathBuf,
    },
    /// A label that is none.
    #[error(transparent)]
    Label(#[from] LabelError),
    /// An id that is none.
    #[error(
        "{asked:?} is no capture id; an id is a serial and a running number, such as 0417-003, \
         or @last"
    )]
    BadId {
        /// What was given.
        asked: String,
    },
    /// A code that is none.
    #[error("{asked:?} is no plan code; a code has six letters and digits, such as K7M2QX")]
    BadCode {
        /// What was given.
        asked: String,
    },
    /// No such plan.
    #[error("plan {code} is not on the shelf {}; {plan} makes one", one_line(shelf.display()), plan = PLAN)]
    NoPlan {
        /// What was asked for.
        code: String,
        /// The shelf.
        shelf: PathBuf,
    },
    /// A plan that is not what was stored.
    #[error("{}: {why}; make a new plan", one_line(path.display()))]
    BadPlan {
        /// The plan.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// A journal with damage in its middle.
    #[error(
        "{}: line {line}: this journal of a write is damaged, so nobody can tell what the module \
         went through; capture the module, and make a new plan from what you want it to hold",
        one_line(path.display())
    )]
    BadJournal {
        /// The journal.
        path: PathBuf,
        /// The line.
        line: usize,
    },
    /// Another process writes to the same module.
    #[error("another buswright is writing to {specimen}; wait until it has ended")]
    Writing {
        /// The module.
        specimen: String,
    },
    /// No such capture.
    #[error("{asked} is not on the shelf {}; {list} shows what is", one_line(shelf.display()), list = SHELF_LIST)]
    NoCapture {
        /// What was asked for.
        asked: String,
        /// The shelf.
        shelf: PathBuf,
    },
    /// A record that cannot be read keeps everybody from knowing which capture is the latest.
    #[error(
        "which capture is @last is not known: {error}. Name the one that is meant by its id \
         ({list} shows them)", list = SHELF_LIST
    )]
    LastUnknown {
        /// What is wrong with that record.
        error: Box<ShelfError>,
    },
    /// A record that cannot be understood.
    #[error(
        "{}: this record cannot be read: {why}; the content beside it is untouched, restore the \
         record from a backup or use the buswright that wrote it", one_line(path.display())
    )]
    BadRecord {
        /// The record.
        path: PathBuf,
        /// What is wrong, with its line.
        why: String,
    },
    /// A block that does not fit what the capture was begun with.
    #[error("{}: {what}; nothing was stored", one_line(path.display()))]
    Misfit {
        /// The unfinished capture.
        path: PathBuf,
        /// Expected and got.
        what: String,
    },
    /// Finishing a capture of which something is missing.
    #[error(
        "{}: {missing} of {blocks} blocks are missing, block {first} the first; capture again to \
         go on with them", one_line(path.display())
    )]
    Incomplete {
        /// The unfinished capture.
        path: PathBuf,
        /// How many are missing.
        missing: usize,
        /// How many there are.
        blocks: usize,
        /// The first missing one.
        first: u32,
    },
    /// What was stored is not what the disk gives back.
    #[error(
        "{}: {what}; the disk does not keep what is written: check it, then capture again (this \
         part will be read anew)", one_line(path.display())
    )]
    Changed {
        /// The content file.
        path: PathBuf,
        /// The block and its checksums.
        what: String,
    },
    /// A capture that no longer fits its record.
    #[error(
        "{id} does not fit its record: {fault}{}; `buswright shelf check {id}` names everything, \
         restore it from a backup or capture again", more(*others)
    )]
    Damaged {
        /// The capture.
        id: CaptureId,
        /// The first fault.
        fault: Box<Fault>,
        /// How many more there are.
        others: usize,
    },
    /// An export that would replace a file.
    #[error(
        "{}: a file with other contents is there (from {at} on) and is not replaced; give another \
         name", one_line(path.display())
    )]
    WouldReplace {
        /// The file.
        path: PathBuf,
        /// The first byte that differs.
        at: ByteAddress,
    },
    /// An export onto something that is no file.
    #[error(
        "{}: a folder, device, pipe or socket is there; name a plain file for the copy",
        one_line(path.display())
    )]
    NotAFile {
        /// What was named.
        path: PathBuf,
    },
    /// A note without text.
    #[error("the note for {id} is empty; say something in it")]
    EmptyNote {
        /// The capture.
        id: CaptureId,
    },
    /// Every running number of a serial is used up.
    #[error("serial {serial} has no running number left after {last}")]
    NoNumber {
        /// The serial.
        serial: String,
        /// The last number used.
        last: u32,
    },
}

impl ShelfError {
    /// True if a record is damaged or gone, false if the disk could not be asked.
    pub(super) fn is_about_the_record(&self) -> bool {
        match self {
            Self::BadRecord { .. } => true,
            Self::Disk { error, .. } => error.kind() == ErrorKind::NotFound,
            _ => false,
        }
    }
}

fn more(others: usize) -> String {
    if others == 0 { String::new() } else { format!(" (and {others} more)") }
}

impl ShelfError {
    /// True if what was asked for is wrong, not the disk or what is on it.
    pub(crate) fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::Label(_)
                | Self::BadId { .. }
                | Self::BadCode { .. }
                | Self::NoPlan { .. }
                | Self::BadPlan { .. }
                | Self::NoCapture { .. }
                | Self::WouldReplace { .. }
                | Self::NotAFile { .. }
                | Self::EmptyNote { .. }
        )
    }
}

/// What to do after the system refused.
fn remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "make room there, then start the same command again: what is stored already is kept"
        }
        ErrorKind::FileTooLarge => {
            "raise the limit of file sizes (`ulimit -f`) or name a folder on another disk, then \
             start the same command again: what is stored already is kept"
        }
        ErrorKind::NotADirectory => {
            "a file is in the place of a folder: take it away, or name another folder (--shelf)"
        }
        ErrorKind::ReadOnlyFilesystem => {
            "this disk is read-only; make it writable or name another folder"
        }
        ErrorKind::PermissionDenied => "ask for leave to write there, or name another folder",
        ErrorKind::AlreadyExists => "that name is taken and nothing is ever replaced; start again",
        ErrorKind::NotFound => "look whether the disk is still there and nothing was moved",
        _ => "check the disk, then start the same command again: what is stored already is kept",
    }
}
