//! Journals: what lets an interrupted write go on.
//!
//! ```text
//! journals/0417_tg-7/0001-K7M2QX.log
//! ```
//!
//! A line for each step, on the medium before the step is made, with a checksum behind it. A last
//! line that was cut short never happened: its step was not made either. Damage anywhere else is
//! an error, since nobody can tell what the module went through.

use super::disk::Lock;
use super::text::crc_hex;
use super::{CaptureId, Label, PlanCode, Shelf, ShelfError};
use crate::bus::crc32;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The folder of journals.
const JOURNALS: &str = "journals";

/// How far a sector is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stage {
    /// Nothing was done to it.
    Waiting,
    /// From here on its contents are not known.
    Begun,
    /// It is blank, as its checksum says.
    Erased,
    /// It holds what it should, as its checksum says.
    Written,
    /// A chip said no, or its checksum is wrong.
    Failed,
}

/// What a write begins with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Beginning {
    /// When, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// The simulated bench's?
    pub(crate) simulated: bool,
    /// By what its adapter is remembered; empty where an earlier version did not write it down.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) port: String,
    /// What the adapter's board calls itself; empty likewise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) board: String,
    /// The plan.
    pub(crate) plan: PlanCode,
    /// SHA-256 of the plan's text.
    pub(crate) plan_sha256: String,
    /// The capture that leads back.
    pub(crate) backup: CaptureId,
    /// Sectors that are locked, space by space: what is locked again at the end.
    pub(crate) locked: Vec<LockedSectors>,
}

/// The locked sectors of one space.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct LockedSectors {
    /// The space.
    pub(crate) space: String,
    /// Their numbers.
    pub(crate) sectors: Vec<u32>,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "kebab-case")]
pub(crate) enum Step {
    /// The write begins; always the first line.
    Begin(Beginning),
    /// A sector comes to a stage.
    Sector {
        /// The space.
        space: String,
        /// The sector's number.
        number: u32,
        /// The stage.
        stage: Stage,
        /// What a chip said, where it failed.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        text: String,
    },
    /// The locks of a space are about to be cleared.
    Unlocking {
        /// The space.
        space: String,
    },
    /// The locks of a space are as they were.
    Relocked {
        /// The space.
        space: String,
    },
    /// The write is gone on with after an interruption.
    Resumed {
        /// When, UTC.
        time: Timestamp,
    },
    /// The module was without supply in between.
    RailCycled {
        /// Its voltage then, in millivolts.
        mv: u16,
        /// Measured by the board; otherwise declared.
        measured: bool,
    },
    /// After that, every sector held what it should.
    Proven,
    /// The write came to its end.
    End {
        /// When, UTC.
        time: Timestamp,
        /// Everything is as planned.
        good: bool,
    },
}

/// What a journal says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Told {
    /// The beginning.
    pub(crate) begin: Beginning,
    /// What followed.
    pub(crate) steps: Vec<Step>,
}

impl Told {
    /// How far a sector is.
    pub(crate) fn stage(&self, space: &str, number: u32) -> Stage {
        let of_it = |step: &Step| match step {
            Step::Sector { space: of, number: at, stage, .. } if of == space && *at == number => {
                Some(*stage)
            }
            _ => None,
        };
        self.steps.iter().rev().find_map(of_it).unwrap_or(Stage::Waiting)
    }

    /// True if the locks of a space may be other than they were.
    pub(crate) fn unlocked(&self, space: &str) -> bool {
        let of_it = |step: &Step| match step {
            Step::Unlocking { space: of } if of == space => Some(true),
            Step::Relocked { space: of } if of == space => Some(false),
            _ => None,
        };
        self.steps.iter().rev().find_map(of_it).unwrap_or(false)
    }

    /// Sectors of which nobody knows what they hold: space and number. Whatever they read, they are
    /// erased again.
    pub(crate) fn in_doubt(&self) -> Vec<(&str, u32)> {
        let mut found: Vec<(&str, u32)> = Vec::new();
        for step in &self.steps {
            let Step::Sector { space, number, stage, .. } = step else { continue };
            found.retain(|known| *known != (space.as_str(), *number));
            if !matches!(stage, Stage::Waiting | Stage::Written) {
                found.push((space, *number));
            }
        }
        found
    }

    /// True if the module was changed and the write has come to no good end.
    pub(crate) fn is_unsettled(&self) -> bool {
        let changed = self.steps.iter().any(|step| matches!(step, Step::Sector { .. }));
        changed && self.ended() != Some(true)
    }

    /// How the write ended; `None` while it has not.
    pub(crate) fn ended(&self) -> Option<bool> {
        self.steps.iter().rev().find_map(|step| match step {
            Step::End { good, .. } => Some(*good),
            _ => None,
        })
    }
}

/// A journal that is being written; one process at a time.
pub(crate) struct Journal {
    shelf: Shelf,
    path: PathBuf,
    told: Told,
    /// A line could not be written: what follows it would stand behind a torn one.
    broken: bool,
    _lock: Lock,
}

impl Shelf {
    /// Begins the journal of a write. Nothing of the module may be changed before this returns.
    pub(crate) fn begin_journal(&self, begin: Beginning) -> Result<Journal, ShelfError> {
        let lock = self.journal_lock(&begin.specimen)?;
        let folder = self.journal_folder(&begin.specimen);
        self.files().make_dir(&folder)?;
        let last = self.journal_numbers(&folder)?.pop().map_or(0, |(number, _)| number);
        let path = folder.join(format!("{:04}-{}.log", last + 1, begin.plan));
        self.files().append_line(&path, &line(&Step::Begin(begin.clone())))?;
        self.files().sync_dir(&folder)?;
        let told = Told { begin, steps: Vec::new() };
        Ok(Journal { shelf: self.clone(), path, told, broken: false, _lock: lock })
    }

    /// The journal of a module's last write, to go on with.
    pub(crate) fn open_journal(&self, label: &Label) -> Result<Option<Journal>, ShelfError> {
        let lock = self.journal_lock(label)?;
        Ok(self.latest(label)?.map(|(path, told)| Journal {
            shelf: self.clone(),
            path,
            told,
            broken: false,
            _lock: lock,
        }))
    }

    /// What the journals of the last write of every module say; each may be unreadable by itself.
    pub(crate) fn last_journals(&self) -> Result<Vec<Result<Told, ShelfError>>, ShelfError> {
        let dir = self.dir(JOURNALS);
        let of = |name: &String| self.latest_in(&dir.join(name)).transpose();
        let names = self.files().list(&dir)?;
        Ok(names.iter().filter_map(of).map(|of| of.map(|(_, told)| told)).collect())
    }

    /// What the journal of a module's last write says.
    pub(crate) fn last_journal(&self, label: &Label) -> Result<Option<Told>, ShelfError> {
        Ok(self.latest(label)?.map(|(_, told)| told))
    }

    fn latest(&self, label: &Label) -> Result<Option<(PathBuf, Told)>, ShelfError> {
        self.latest_in(&self.journal_folder(label))
    }

    fn latest_in(&self, folder: &Path) -> Result<Option<(PathBuf, Told)>, ShelfError> {
        for (_, name) in self.journal_numbers(folder)?.into_iter().rev() {
            let path = folder.join(name);
            if let Some(told) = told(&path, &self.files().read(&path)?)? {
                return Ok(Some((path, told)));
            }
        }
        Ok(None)
    }

    fn journal_numbers(&self, folder: &Path) -> Result<Vec<(u32, String)>, ShelfError> {
        let names = self.files().list(folder)?.into_iter();
        let number = |name: String| {
            let (number, _) = name.strip_suffix(".log")?.split_once('-')?;
            Some((number.parse().ok()?, name))
        };
        let mut all: Vec<_> = names.filter_map(number).collect();
        all.sort_unstable();
        Ok(all)
    }

    fn journal_folder(&self, label: &Label) -> PathBuf {
        self.dir(JOURNALS).join(label.slug())
    }

    fn journal_lock(&self, label: &Label) -> Result<Lock, ShelfError> {
        let path = self.dir("locks").join(format!("write_{}", label.slug()));
        let lock = self.files().try_lock(&path)?;
        lock.ok_or_else(|| ShelfError::Writing { specimen: label.to_string() })
    }
}

impl Journal {
    /// Writes a step down; the step may be made once this has returned. After an error nothing
    /// more is written: the next process takes the torn line for what it is.
    pub(crate) fn add(&mut self, step: Step) -> Result<(), ShelfError> {
        if self.broken {
            let (path, tried) = (self.path.clone(), "go on after a line that could not be written");
            let error = std::io::ErrorKind::Other.into();
            return Err(ShelfError::Disk { path, tried, error });
        }
        self.broken = true;
        self.shelf.files().append_line(&self.path, &line(&step))?;
        self.broken = false;
        self.told.steps.push(step);
        Ok(())
    }

    /// Its file.
    #[cfg(test)]
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// What it says up to now.
    pub(crate) fn told(&self) -> &Told {
        &self.told
    }
}

fn line(step: &Step) -> String {
    // A step holds no map with keys other than text, so this cannot fail.
    let text = serde_json::to_string(step).unwrap_or_default();
    format!("{text} *{}", crc_hex(crc32(text.as_bytes())))
}

fn parse(line: &[u8]) -> Option<Step> {
    let (text, sum) = std::str::from_utf8(line).ok()?.rsplit_once(" *")?;
    (sum == crc_hex(crc32(text.as_bytes()))).then(|| serde_json::from_str(text).ok())?
}

/// What the lines say; `None` for a journal whose very first line was cut short.
fn told(path: &Path, bytes: &[u8]) -> Result<Option<Told>, ShelfError> {
    let lines = bytes.split(|byte| *byte == b'\n').enumerate();
    let lines: Vec<_> = lines.filter(|(_, line)| !line.is_empty()).collect();
    let mut steps = Vec::new();
    for (at, (number, line)) in lines.iter().enumerate() {
        match parse(line) {
            Some(step) => steps.push(step),
            // Cut short at an interruption, after which the write was gone on with or not.
            None if lines
                .get(at + 1)
                .is_none_or(|(_, next)| matches!(parse(next), Some(Step::Resumed { .. }))) => {}
            None => {
                return Err(ShelfError::BadJournal { path: path.to_owned(), line: number + 1 });
            }
        }
    }
    let mut steps = steps.into_iter();
    match steps.next() {
        Some(Step::Begin(begin)) => Ok(Some(Told { begin, steps: steps.collect() })),
        None => Ok(None),
        Some(_) => Err(ShelfError::BadJournal { path: path.to_owned(), line: 1 }),
    }
}
