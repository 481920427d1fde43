//! What a write has come to, for people and for programs.

use super::bank::Bank;
use crate::image::{PLAN_BACK, RESUME, counted};
use crate::shelf::{Action, Journal, PlannedSector, Stage, StoredPlan};
use serde::Serialize;
use std::fmt;

/// A sector that could not be written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FailedSector {
    /// Its space.
    pub space: String,
    /// Its number.
    pub number: u32,
    /// Its first word on the bus.
    pub address: u32,
    /// Its words.
    pub words: u32,
    /// What happened.
    pub why: String,
}

impl FailedSector {
    pub(super) fn new(bank: &Bank<'_>, sector: &PlannedSector, why: String) -> Self {
        Self {
            space: bank.planned.name.clone(),
            number: sector.number,
            address: bank.at(sector).0,
            words: sector.words,
            why,
        }
    }
}

/// What a write has come to.
#[derive(Clone, Debug, Serialize)]
pub struct WriteReport {
    /// The module.
    pub specimen: String,
    /// The plan's code.
    pub plan: String,
    /// What the plan is for.
    pub what: String,
    /// It was gone on with after an interruption.
    pub resumed: bool,
    /// The capture that leads back.
    pub backup: String,
    /// Sectors that were erased and programmed.
    pub erased: u32,
    /// Sectors that were erased, with nothing to program in them.
    pub blanked: u32,
    /// Sectors that were programmed without erasing.
    pub programmed: u32,
    /// Bytes of them.
    pub bytes: u64,
    /// Sectors that the plan changes.
    pub sectors: u32,
    /// Those of them that are written, before an interruption or now.
    pub written: u32,
    /// Bytes of these.
    pub bytes_written: u64,
    /// Every sector holds what the plan says, also after a power cycle.
    pub proven: bool,
    /// What of the image did not get onto the module, as the plan says.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<String>,
    /// What is known of the power cycle.
    pub rail: String,
    /// Captures of RAM that were taken before.
    pub ram: Vec<String>,
    /// The sector that failed; nothing after it was changed.
    pub failed: Vec<FailedSector>,
    /// Sectors whose checksum was wrong after the power cycle.
    pub wrong: Vec<String>,
    /// Spaces beside that no longer hold what they held.
    pub changed: Vec<String>,
    /// How long it took.
    pub seconds: f64,
}

impl WriteReport {
    pub(super) fn new(plan: &StoredPlan, resumed: bool) -> Self {
        Self {
            specimen: plan.plan.specimen.to_string(),
            plan: plan.code.to_string(),
            what: plan.plan.what.clone(),
            resumed,
            backup: plan.plan.leads_back().to_string(),
            erased: 0,
            blanked: 0,
            programmed: 0,
            bytes: 0,
            sectors: 0,
            written: 0,
            bytes_written: 0,
            proven: false,
            left: plan.plan.left.clone(),
            rail: String::new(),
            ram: Vec::new(),
            failed: Vec::new(),
            wrong: Vec::new(),
            changed: Vec::new(),
            seconds: 0.0,
        }
    }

    pub(super) fn count(&mut self, erased: bool, sector: &PlannedSector, bytes: u64) {
        if erased && sector.programmed == 0 {
            self.blanked += 1;
        } else if erased {
            self.erased += 1;
        } else {
            self.programmed += 1;
        }
        self.bytes += bytes;
    }

    /// Counts what the journal tells of the whole write, whichever process it was done by.
    pub(super) fn count_all(&mut self, plan: &StoredPlan, journal: &Journal) {
        for (space, sector) in plan.plan.sectors() {
            if !matches!(sector.action, Action::Program | Action::Erase) {
                continue;
            }
            self.sectors += 1;
            if journal.told().stage(&space.name, sector.number) == Stage::Written {
                self.written += 1;
                self.bytes_written += u64::from(sector.words) * space.width.bytes() as u64;
            }
        }
    }
}

/// How many of the sectors (of a space, as `of` says) are written.
pub(super) fn of_sectors(written: u64, all: u64, of: &str) -> String {
    let are = if written == 1 || all == 1 { "is" } else { "are" };
    format!("{written} of {}{of} {are} written", counted(all, "sector"))
}

impl fmt::Display for WriteReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { specimen, plan, backup, .. } = self;
        if self.proven {
            write!(f, "{specimen} holds what plan {plan} says ({})", self.what)?;
        } else {
            write!(f, "{specimen} does NOT hold what plan {plan} says")?;
        }
        if self.resumed {
            let now = self.erased + self.blanked + self.programmed;
            let written = of_sectors(u64::from(self.written), u64::from(self.sectors), "");
            write!(f, ": {written}, {now} of them now")?;
        }
        let size = humansize::format_size(self.bytes, humansize::BINARY);
        let sectors = |n: u32| counted(u64::from(n), "sector");
        match (self.erased, self.blanked) {
            (0, 1..) => write!(f, ": {} erased", sectors(self.blanked))?,
            (erased, blanked) => {
                write!(f, ": {} erased and programmed", sectors(erased))?;
                if blanked > 0 {
                    write!(f, ", {blanked} erased only")?;
                }
            }
        }
        if self.blanked == 0 || self.programmed > 0 {
            write!(f, ", {} programmed only", self.programmed)?;
        }
        write!(f, ", {size} in {:.1} s", self.seconds)?;
        for failed in &self.failed {
            let FailedSector { space, number, address, words, why } = failed;
            write!(
                f,
                "\n  sector {number} of {space} (words 0x{address:X}+0x{words:X}) failed: {why}\n  \
                 nothing after it was changed. {RESUME} tries it once more; {PLAN_BACK} \
                 goes back to {backup}"
            )?;
        }
        for wrong in &self.wrong {
            write!(f, "\n  {wrong} does not hold what it should after the power cycle")?;
        }
        if !self.wrong.is_empty() {
            write!(f, "\n  {PLAN_BACK} goes back to {backup}")?;
        }
        for changed in &self.changed {
            write!(f, "\n  {changed} has changed meanwhile; its copy is {backup}")?;
            for id in &self.ram {
                write!(f, " or {id}")?;
            }
        }
        if !self.rail.is_empty() {
            write!(f, "\n  {}", self.rail)?;
        }
        if !self.left.is_empty() {
            write!(f, "\n  ! the module does NOT hold the whole image: {}", self.left.join("; "))?;
        }
        write!(f, "\n  the way back: {backup}, with {PLAN_BACK}")?;
        write!(
            f,
            "\n  ! a changed instrument is unproven: check it against a known reference before \
             anyone relies on it"
        )
    }
}
