//! What a write has come to, for people and for programs.

use super::bank::Bank;
use crate::image::counted;
use crate::shelf::{PlannedSector, StoredPlan};
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
    /// Sectors that were programmed without erasing.
    pub programmed: u32,
    /// Bytes of them.
    pub bytes: u64,
    /// Every sector holds what the plan says, also after a power cycle.
    pub proven: bool,
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
            programmed: 0,
            bytes: 0,
            proven: false,
            rail: String::new(),
            ram: Vec::new(),
            failed: Vec::new(),
            wrong: Vec::new(),
            changed: Vec::new(),
            seconds: 0.0,
        }
    }

    pub(super) fn count(&mut self, erased: bool, bytes: u64) {
        if erased {
            self.erased += 1;
        } else {
            self.programmed += 1;
        }
        self.bytes += bytes;
    }
}

impl fmt::Display for WriteReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { specimen, plan, backup, .. } = self;
        if self.proven {
            write!(f, "{specimen} holds what plan {plan} says ({})", self.what)?;
        } else {
            write!(f, "{specimen} does NOT hold what plan {plan} says")?;
        }
        let size = humansize::format_size(self.bytes, humansize::BINARY);
        write!(
            f,
            ": {} erased and programmed, {} programmed only, {size} in {:.1} s",
            counted(u64::from(self.erased), "sector"),
            self.programmed,
            self.seconds
        )?;
        for failed in &self.failed {
            let FailedSector { space, number, address, words, why } = failed;
            write!(
                f,
                "\n  sector {number} of {space} (words 0x{address:X}+0x{words:X}) failed: {why}\n  \
                 nothing after it was changed. `buswright resume` tries it once more; `buswright \
                 plan --back` goes back to {backup}"
            )?;
        }
        for wrong in &self.wrong {
            write!(f, "\n  {wrong} does not hold what it should after the power cycle")?;
        }
        if !self.wrong.is_empty() {
            write!(f, "\n  `buswright plan --back` goes back to {backup}")?;
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
        write!(f, "\n  the way back: {backup}, with `buswright plan --back`")?;
        write!(
            f,
            "\n  ! a changed instrument is unproven: check it against a known reference before \
             anyone relies on it"
        )
    }
}
