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

/// What a person said of an instrument that got some content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Answered {
    /// The module with that content.
    pub(crate) specimen: Label,
    /// When it was written down.
    pub(crate) time: Timestamp,
    /// The instrument started.
    pub(crate) yes: bool,
    /// What else was said.
    pub(crate) text: String,
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

    /// What people said after content with one of these sums was written: the last yes and the last
    /// no of each module.
    pub(crate) fn answers(&self, sums: &[&str]) -> Result<Vec<Answered>, ShelfError> {
        let dir = self.dir("histories");
        let mut answers: Vec<Answered> = Vec::new();
        for name in self.files().list(&dir)? {
            let (lines, _) = lines::read::<HistoryLine>(self.files(), &dir.join(name))?;
            let mut holds = false;
            for line in lines {
                if line.event == WRITTEN {
                    let of = [&line.sha256, &line.image_sha256];
                    holds = of.into_iter().flatten().any(|sum| sums.contains(&sum.as_str()));
                }
                let Some((yes, text)) = answer(&line).filter(|_| holds) else { continue };
                answers.retain(|known| (&known.specimen, known.yes) != (&line.specimen, yes));
                let text = text.to_owned();
                answers.push(Answered { specimen: line.specimen, time: line.time, yes, text });
            }
        }
        Ok(answers)
    }
}

/// Yes or no, and what was said beside it.
fn answer(line: &HistoryLine) -> Option<(bool, &str)> {
    let said = Some(line.text.as_str()).filter(|_| line.event == STARTED)?;
    let (yes, rest) = match (said.strip_prefix("yes"), said.strip_prefix("no")) {
        (Some(rest), _) => (true, rest),
        (None, Some(rest)) => (false, rest),
        (None, None) => return None,
    };
    Some((yes, rest.trim_start_matches([':', ',', ' '])))
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
            image_sha256: (sum == "bb").then(|| "an image".to_owned()),
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
            line(6, one, STARTED, "", "no: the display stays dark"),
            line(7, one, "verified", "", ""),
        ] {
            shelf.remember(&line).unwrap();
        }
        let last = shelf.last_write(&Label::parse(one).unwrap()).unwrap().unwrap();
        assert_eq!(last.backup.to_string(), "1-003");
        let answers = |sum: &str| {
            let answers = shelf.answers(&[sum]).unwrap().into_iter();
            let answer = |of: Answered| (of.specimen.to_string(), of.yes, of.text);
            answers.map(answer).collect::<Vec<_>>()
        };
        let said = |label: &str, yes, text: &str| (label.to_owned(), yes, text.to_owned());
        assert_eq!(answers("aa"), [said(one, true, "")]);
        let both = [said(one, false, "the display stays dark"), said(two, true, "on the bench")];
        assert_eq!(answers("bb"), both);
        assert_eq!(answers("an image"), both);
        assert!(answers("cc").is_empty());
    }
}
