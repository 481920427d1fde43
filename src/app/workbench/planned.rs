//! What a plan does, and how far its write is: what the map and the dialogs show of it.

use crate::bus::WordAddress;
use crate::image::{RESUME, in_keys};
use crate::jobs::PlanReport;
use crate::shelf::{Action, Plan, PlannedSpace, Stage, Told};

/// How far a sector of a write is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Progressed {
    /// Nothing was done to it.
    #[default]
    Waiting,
    /// It is blank.
    Erased,
    /// It holds what it should, as its checksum said at once.
    Written,
    /// The same after everything else, and after a power cycle; or it held that from the beginning.
    Verified,
    /// It could not be written, or does not hold what it should.
    Failed,
    /// Its contents are not known: it was in hand when the write ended, or is not looked at.
    Doubtful,
}

/// A sector of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedPart {
    /// Its first word, counted from the base.
    pub first: u32,
    /// Its words.
    pub words: u32,
    /// What is done with it.
    pub action: Action,
    /// It is unlocked for that, and locked again.
    pub unlock: bool,
    /// Bytes that are programmed.
    pub bytes: u64,
    /// How far it is.
    pub progressed: Progressed,
    /// It is erased before it is programmed.
    pub erases: bool,
}

impl PlannedPart {
    /// True if the plan changes it.
    pub fn changes(&self) -> bool {
        matches!(self.action, Action::Program | Action::Erase)
    }

    /// True if it is still to be written.
    pub fn is_left(&self) -> bool {
        self.changes() && !matches!(self.progressed, Progressed::Written | Progressed::Verified)
    }
}

/// The sectors of a planned space, as far as the journal says they are.
pub(super) fn parts(space: &PlannedSpace, told: Option<&Told>) -> Vec<PlannedPart> {
    let size = space.width.bytes() as u64;
    let part = |sector: &crate::shelf::PlannedSector| {
        let stage = told.map_or(Stage::Waiting, |told| told.stage(&space.name, sector.number));
        let progressed = match (sector.action, stage) {
            (Action::Leave, _) | (_, Stage::Begun | Stage::Erased) => Progressed::Doubtful,
            // No journal is begun before all of these were compared.
            (Action::Keep | Action::Locked, _) if told.is_some() => Progressed::Verified,
            (_, Stage::Waiting) => Progressed::Waiting,
            (_, Stage::Written) => Progressed::Written,
            (_, Stage::Failed) => Progressed::Failed,
        };
        PlannedPart {
            first: sector.first.0,
            words: sector.words,
            action: sector.action,
            unlock: sector.unlock,
            bytes: u64::from(sector.programmed) * size,
            progressed,
            // What was in hand is erased again, whatever the plan says.
            erases: sector.action == Action::Erase || stage != Stage::Waiting,
        }
    };
    space.sectors.iter().map(part).collect()
}

/// A plan as the dialogs show it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlanFacts {
    /// Its code; none if nothing is to be done.
    pub code: Option<String>,
    /// The module.
    pub specimen: String,
    /// What it is for.
    pub what: String,
    /// The capture that leads back.
    pub backup: String,
    /// Sectors that are erased.
    pub erased: usize,
    /// Those of them that stay blank.
    pub blanked: usize,
    /// Sectors that are programmed without that.
    pub programmed: usize,
    /// It brings the whole image onto the module.
    pub whole: bool,
    /// What it says: a head and a line each.
    pub rows: Vec<(String, String)>,
}

impl PlanFacts {
    /// What a plan and its report say.
    pub(super) fn new(plan: &Plan, report: &PlanReport) -> Self {
        let does = |action| plan.sectors().filter(|(_, sector)| sector.action == action).count();
        let mut rows = vec![("aim".to_owned(), report.what.clone())];
        let mut add = |sections: Vec<(&str, Vec<String>)>| {
            for (head, lines) in sections {
                let heads = [head].into_iter().chain(std::iter::repeat(""));
                let lines = lines.iter().map(|line| in_keys(line));
                rows.extend(heads.map(str::to_owned).zip(lines));
            }
        };
        add(report.before());
        for space in &report.spaces {
            let mut lines = vec![format!("{} bits, {}", space.bits, space.chips)];
            lines.extend(space.runs.iter().map(|run| {
                let [sectors, words, _, does] = run.columns();
                format!("{sectors:<7} {words:<17} {does}")
            }));
            add(vec![(&space.name, lines)]);
        }
        add(report.after());
        Self {
            code: report.code.clone(),
            specimen: report.specimen.clone(),
            what: report.what.clone(),
            backup: plan.leads_back().to_string(),
            erased: does(Action::Erase),
            blanked: plan
                .sectors()
                .filter(|(_, sector)| sector.action == Action::Erase && sector.programmed == 0)
                .count(),
            programmed: does(Action::Program),
            whole: report.words_left == 0,
            rows,
        }
    }
}

/// How a write has ended that had changed something.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WriteEnd {
    /// The plan's code.
    pub plan: String,
    /// The exit code.
    pub code: u8,
    /// What was said.
    pub text: String,
    /// The capture that leads back.
    pub backup: String,
}

/// A write of the module that was begun and is not finished.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UnfinishedWrite {
    /// The plan's code.
    pub code: String,
    /// What it is for.
    pub what: String,
    /// The module.
    pub specimen: String,
    /// When it was begun, UTC.
    pub begun: String,
    /// Sectors that are written.
    pub written: usize,
    /// Sectors that it changes.
    pub of: usize,
    /// The capture that leads back.
    pub backup: String,
    /// Sectors that are in doubt or have failed: space, first word on the bus, which of the two.
    pub broken: Vec<(String, WordAddress, Progressed)>,
}

impl UnfinishedWrite {
    /// How far it is, a sentence without its full stop.
    pub fn progress(&self) -> String {
        let Self { written, of, .. } = self;
        match (written, of) {
            (1, 1) => "its one sector is written, and not yet proven after a power cycle".into(),
            (0, 1) => "its one sector is not written".into(),
            _ if written == of => {
                format!("all {of} sectors are written, and not yet proven after a power cycle")
            }
            (1, _) => format!("1 of {of} sectors is written"),
            _ => format!("{written} of {of} sectors are written"),
        }
    }

    /// Every sector is written; what is left is the proof.
    pub fn is_unproven(&self) -> bool {
        self.written == self.of
    }

    /// What is said to whoever leaves while it is so; commands and keys that go on. Of a bench that
    /// lives in this program, nothing is left to go on with.
    pub fn left_behind(&self, bench: bool) -> String {
        let next = if bench {
            "This simulated bench ends with the workbench, and the module in it: nothing is left \
             to go on with"
                .to_string()
        } else {
            format!("{RESUME} goes on with it, or w in the workbench")
        };
        let Self { specimen, code, .. } = self;
        let progress = self.progress();
        format!("the write of {specimen} (plan {code}) is not finished: {progress}. {next}")
    }

    /// What plan and journal say.
    pub(super) fn new(plan: &Plan, told: &Told) -> Self {
        let begin = &told.begin;
        let mut unfinished = Self {
            code: begin.plan.to_string(),
            what: plan.what.clone(),
            specimen: begin.specimen.to_string(),
            begun: begin.time.strftime("%Y-%m-%d %H:%M UTC").to_string(),
            backup: plan.leads_back().to_string(),
            ..Self::default()
        };
        for space in &plan.spaces {
            for part in parts(space, Some(told)).into_iter().filter(PlannedPart::changes) {
                unfinished.of += 1;
                match part.progressed {
                    Progressed::Written => unfinished.written += 1,
                    Progressed::Waiting | Progressed::Verified => {}
                    other => {
                        let at = space.base.plus(part.first);
                        unfinished.broken.push((space.name.clone(), at, other));
                    }
                }
            }
        }
        unfinished
    }
}
