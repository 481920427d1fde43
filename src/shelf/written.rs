//! What histories tell of writes: the last one of a module, and what was seen to work.

use super::{Beginning, CaptureId, HistoryLine, Label, PlanCode, Shelf, ShelfError, lines};
use jiff::Timestamp;

/// The event of a write that came to its end.
const WRITTEN: &str = "written";
/// The event of a person's answer whether the instrument started.
const STARTED: &str = "started";

/// The last write of a module.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct LastWrite {
    /// When.
    pub(crate) time: Timestamp,
    /// The capture of the whole module from before it, and before whatever came to no good end
    /// just before.
    pub(crate) backup: CaptureId,
    /// The plan that was carried out, if that is known.
    pub(crate) plan: Option<PlanCode>,
}

/// An instrument that started with some content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Worked {
    /// The module that it started with.
    pub(crate) specimen: Label,
    /// When that was written down.
    pub(crate) time: Timestamp,
}

impl Shelf {
    /// The last write of a module; `None` if there was none.
    pub(crate) fn last_write(&self, label: &Label) -> Result<Option<LastWrite>, ShelfError> {
        // Also one that failed or was interrupted has a way back.
        if let Some(told) = self.last_journal(label)? {
            let Beginning { time, backup, plan, .. } = told.begin;
            let earlier = self.plan(&plan).ok().and_then(|stored| stored.plan.way_back);
            let backup = earlier.unwrap_or(backup);
            return Ok(Some(LastWrite { time, backup, plan: Some(plan) }));
        }
        let lines = self.history(label)?.lines.into_iter().rev();
        let mut written = lines.filter(|line| line.event == WRITTEN && line.specimen == *label);
        Ok(written.find_map(|line| {
            let HistoryLine { time, capture, .. } = line;
            Some(LastWrite { time, backup: capture?, plan: None })
        }))
    }

    /// The modules that some content with one of these sums was written to, and that started
    /// afterwards, as a person said.
    pub(crate) fn worked_with(&self, sums: &[&str]) -> Result<Vec<Worked>, ShelfError> {
        let dir = self.dir("histories");
        let mut worked: Vec<Worked> = Vec::new();
        for name in self.files().list(&dir)? {
            let (lines, _) = lines::read::<HistoryLine>(self.files(), &dir.join(name))?;
            let mut holds = false;
            for line in lines {
                if line.event == WRITTEN {
                    holds = line.sha256.as_deref().is_some_and(|sum| sums.contains(&sum));
                }
                if holds && line.event == STARTED && line.text.starts_with("yes") {
                    worked.retain(|known| known.specimen != line.specimen);
                    worked.push(Worked { specimen: line.specimen, time: line.time });
                }
            }
        }
        Ok(worked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf::MemDisk;
    use std::path::Path;
    use std::sync::Arc;

    fn line(time: i64, label: &str, event: &str, sum: &str, text: &str) -> HistoryLine {
        HistoryLine {
            time: Timestamp::from_second(time).unwrap(),
            specimen: Label::parse(label).unwrap(),
            event: event.into(),
            capture: (event == WRITTEN).then(|| format!("1-{time:03}").parse().unwrap()),
            sha256: Some(sum.to_owned()).filter(|sum| !sum.is_empty()),
            bytes: None,
            simulated: false,
            text: text.into(),
        }
    }

    #[test]
    fn the_last_write_and_what_started_with_it() {
        let shelf = Shelf::open(Arc::new(MemDisk::default()), Path::new("/shelf")).unwrap();
        let (one, two) = ("T #1", "T #2");
        assert_eq!(shelf.last_write(&Label::parse(one).unwrap()).unwrap(), None);
        for line in [
            line(1, one, WRITTEN, "aa", ""),
            line(2, one, STARTED, "", "yes"),
            line(3, one, WRITTEN, "bb", ""),
            line(4, two, WRITTEN, "bb", ""),
            line(5, two, STARTED, "", "yes, on the bench"),
            line(6, one, STARTED, "", "no"),
            line(7, one, "verified", "", ""),
        ] {
            shelf.remember(&line).unwrap();
        }
        let last = shelf.last_write(&Label::parse(one).unwrap()).unwrap().unwrap();
        assert_eq!(last.backup.to_string(), "1-003");
        let worked = |sum: &str| {
            let worked = shelf.worked_with(&[sum]).unwrap();
            worked.iter().map(|worked| worked.specimen.to_string()).collect::<Vec<_>>()
        };
        assert_eq!(worked("aa"), [one]);
        assert_eq!(worked("bb"), [two]);
        assert!(worked("cc").is_empty());
    }
}
