//! The status file: what the core is at, for a workbench that starts later or elsewhere.
//!
//! One file a port, with a lock that lives as long as the port is open. Losing either costs
//! nothing but the sentence at the next start.

use super::handle::Common;
use crate::app::{Event, Outcome};
use jiff::Timestamp;
use rustix::fs::{FlockOperation, flock};
use rustix::process::{Pid, Signal, kill_process};
use serde::{Deserialize, Serialize};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
struct Status {
    process: u32,
    port: String,
    specimen: String,
    /// The job, by the word that people use.
    doing: String,
    /// Since when, UTC.
    since: String,
    /// How far it is.
    at: String,
    /// Somebody has a screen.
    seen: bool,
    /// Its end, once it has come to one.
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<String>,
}

/// File and lock of the port that is open.
pub(super) struct Running {
    folder: PathBuf,
    lock: Option<File>,
    file: PathBuf,
    status: Status,
    common: Option<Arc<Common>>,
}

fn slug(port: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    port.chars().map(plain).collect()
}

fn paths(folder: &Path, port: &str) -> (PathBuf, PathBuf) {
    let folder = folder.join("running");
    let slug = slug(port);
    (folder.join(format!("{slug}.toml")), folder.join(format!("{slug}.lock")))
}

fn try_lock(path: &Path) -> Option<File> {
    std::fs::create_dir_all(path.parent()?).ok()?;
    let mut options = OpenOptions::new();
    let file = options.create(true).truncate(false).write(true).open(path).ok()?;
    flock(&file, FlockOperation::NonBlockingLockExclusive).ok().map(|()| file)
}

fn load(file: &Path) -> Option<Status> {
    crate::notation::read(&std::fs::read_to_string(file).ok()?).ok()
}

impl Running {
    pub(super) fn new(folder: &Path) -> Self {
        let (folder, file) = (folder.to_path_buf(), PathBuf::new());
        Self { folder, lock: None, file, status: Status::default(), common: None }
    }

    /// Takes the port's lock; gives a sentence about what an earlier workbench left unsaid.
    pub(super) fn take(&mut self, port: &str) -> Option<String> {
        let (file, lock) = paths(&self.folder, port);
        self.lock = try_lock(&lock);
        self.lock.as_ref()?;
        let before = load(&file);
        let process = std::process::id();
        self.status = Status { process, port: port.into(), seen: true, ..Status::default() };
        self.file = file;
        let before = before?;
        self.write();
        let of = if before.specimen.is_empty() { &before.port } else { &before.specimen };
        match before {
            Status { outcome: Some(text), seen: false, ref doing, .. } => {
                Some(format!("while nobody watched, {doing} of {of} came to its end: {text}"))
            }
            Status { outcome: None, ref doing, ref at, .. } if !doing.is_empty() => Some(format!(
                "an earlier workbench ended in the middle of {doing} of {of} ({at}): measure the \
                 rail before you touch the module. A capture or a write goes on where it was"
            )),
            _ => None,
        }
    }

    /// Gives the lock back.
    pub(super) fn give_back(&mut self) {
        self.lock = None;
    }

    /// A job begins.
    pub(super) fn begin(&mut self, word: &str, common: &Arc<Common>) {
        self.common = Some(Arc::clone(common));
        if matches!(word, "look" | "lines") {
            return;
        }
        self.status.doing = word.into();
        self.status.since = Timestamp::now().to_string();
        self.status.at = "begun".into();
        self.status.outcome = None;
        self.write();
    }

    /// Follows the job: passes, not blocks.
    pub(super) fn event(&mut self, event: &Event) {
        if let Event::Pass { space, number, what, .. } = event
            && !self.status.doing.is_empty()
        {
            self.status.at = format!("{space}: pass {number}, {what}");
            self.write();
        } else if self.status.seen
            && self.common.as_ref().is_some_and(|common| common.hung_up.load(Ordering::Acquire))
        {
            self.unseen();
            self.status.seen = false;
        }
    }

    /// The job has ended.
    pub(super) fn end(&mut self, word: &str, outcome: &Outcome) {
        if !matches!(word, "look" | "lines") {
            self.status.outcome = Some(outcome.text.lines().next().unwrap_or_default().into());
            self.write();
        }
    }

    /// The screen is gone.
    pub(super) fn unseen(&mut self) {
        // What ended before was seen.
        if !self.status.doing.is_empty() && self.status.outcome.is_none() {
            self.write();
        }
    }

    fn write(&mut self) {
        if self.lock.is_none() {
            return;
        }
        if let Some(common) = &self.common {
            self.status.seen = !common.hung_up.load(Ordering::Acquire);
            let specimen = common.shared().snapshot.specimen.clone();
            self.status.specimen = specimen.unwrap_or_default();
        }
        // A full disk must not end a job: the file is a courtesy.
        let _ = self.try_write();
    }

    fn try_write(&self) -> std::io::Result<()> {
        let folder = self.file.parent().unwrap_or_else(|| Path::new("."));
        let text = toml::to_string(&self.status).map_err(std::io::Error::other)?;
        let mut new = tempfile::NamedTempFile::new_in(folder)?;
        new.write_all(text.as_bytes())?;
        new.persist(&self.file)?;
        Ok(())
    }
}

/// A job of another workbench on the same port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// Its process.
    pub process: u32,
    /// What it does, with what: one sentence.
    pub doing: String,
    /// How far it is.
    pub at: String,
    /// It has a screen of its own.
    pub seen: bool,
}

/// Looks at another workbench.
#[derive(Clone, Debug)]
pub struct Watch {
    folder: PathBuf,
    port: String,
}

impl Watch {
    /// Of the workbench that has `port` open.
    pub fn new(folder: &Path, port: &str) -> Self {
        Self { folder: folder.to_path_buf(), port: port.into() }
    }

    /// The same folder, another port.
    pub fn of(&self, port: &str) -> Self {
        Self::new(&self.folder, port)
    }

    /// The job that runs there, if one does.
    pub fn look(&self) -> Option<Elsewhere> {
        let (file, lock) = paths(&self.folder, &self.port);
        if !lock.exists() || try_lock(&lock).is_some() {
            return None;
        }
        let status =
            load(&file).filter(|status| status.outcome.is_none() && !status.doing.is_empty())?;
        let Status { process, specimen, doing, at, since, seen, .. } = status;
        let since = since.split('.').next().unwrap_or_default().replace('T', " ");
        Some(Elsewhere {
            process,
            doing: format!("{doing} of {specimen}, begun {since} UTC"),
            at,
            seen,
        })
    }

    /// Asks it to reach the safe state and end. False if nobody runs there any more.
    pub fn stop(&self) -> bool {
        let Some(there) = self.look() else { return false };
        let process = i32::try_from(there.process).ok().and_then(Pid::from_raw);
        process.is_some_and(|process| kill_process(process, Signal::TERM).is_ok())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(text: &str) -> Outcome {
        Outcome { code: 0, text: text.into(), report: None }
    }

    fn common(hung_up: bool) -> Arc<Common> {
        let common = Common::new(|| ());
        common.hung_up.store(hung_up, Ordering::Release);
        Arc::new(common)
    }

    #[test]
    fn the_next_start_tells_what_nobody_saw() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Running::new(folder.path());
        assert_eq!(first.take("sim"), None);
        first.begin("capture", &common(true));
        let watch = Watch::new(folder.path(), "sim");
        let there = watch.look().unwrap();
        assert!(there.doing.starts_with("capture of"), "{there:?}");
        let mut second = Running::new(folder.path());
        assert_eq!(second.take("sim"), None, "the lock is held");
        first.end("capture", &outcome("0417-001 agreed"));
        assert_eq!(watch.look(), None, "it has ended");
        drop(first);
        let text = second.take("sim").unwrap();
        assert!(text.contains("while nobody watched") && text.contains("0417-001 agreed"));
        let mut third = Running::new(folder.path());
        second.give_back();
        assert_eq!(third.take("sim"), None, "told once");
    }

    #[test]
    fn a_workbench_that_was_killed_is_told_of() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Running::new(folder.path());
        first.take("/dev/ttyUSB0");
        first.begin("capture", &common(false));
        drop(first);
        let mut next = Running::new(folder.path());
        let text = next.take("/dev/ttyUSB0").unwrap();
        assert!(text.contains("in the middle of capture"), "{text}");
        assert!(text.contains("measure the rail"), "{text}");
    }

    #[test]
    fn what_somebody_saw_is_not_told_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Running::new(folder.path());
        first.take("sim");
        first.begin("capture", &common(false));
        first.end("capture", &outcome("good"));
        drop(first);
        assert_eq!(Running::new(folder.path()).take("sim"), None);
    }
}
