//! What a plan says, for people and for programs.

use super::Missed;
use crate::bus::WordAddress;
use crate::image::{TAKE, counted};
use crate::shelf::{Action, Estimate, PlannedSector, PlannedSpace};
use humansize::{BINARY, format_size};
use serde::Serialize;
use std::fmt;

/// What a plan says.
#[derive(Clone, Debug, Serialize)]
pub struct PlanReport {
    /// What it is for.
    pub what: String,
    /// Its code; none if nothing is to be done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code: Option<String>,
    /// The module.
    pub specimen: String,
    /// It is the simulated bench's.
    pub simulated: bool,
    /// The capture that leads back.
    pub backup: String,
    /// That capture was taken for this plan.
    pub backup_is_new: bool,
    /// The module was compared with that capture, and equals it now.
    pub backup_equals: bool,
    /// The spaces that can be written.
    pub spaces: Vec<SpacePlan>,
    /// Sectors that change.
    pub sectors: u64,
    /// Words that are programmed, in bytes.
    pub bytes: u64,
    /// What of the image does not get onto the module, and why.
    pub left: Vec<String>,
    /// Words of the image that the module will not have.
    pub words_left: u64,
    /// Words in which the image differs in zones that keep theirs.
    pub words_kept: u64,
    /// How image and module go together.
    pub fit: Vec<String>,
    /// How long it takes, in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub times: Option<Estimate>,
    /// What to think of before it is carried out.
    pub cautions: Vec<String>,
    /// The command that carries it out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// What is done in one space.
#[derive(Clone, Debug, Serialize)]
pub struct SpacePlan {
    /// Its name.
    pub name: String,
    /// Data lines.
    pub bits: u32,
    /// Its chips, in words.
    pub chips: String,
    /// Its sectors, in runs of the same.
    pub runs: Vec<Run>,
}

/// Neighbouring sectors of which the same is to be told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Run {
    /// The first sector.
    pub first: u32,
    /// The last one.
    pub last: u32,
    /// Where they begin, a word address on the bus.
    pub address: u32,
    /// Their words.
    pub words: u32,
    /// Where they begin in a copy of the space, in bytes.
    pub byte_address: u64,
    /// Their bytes.
    pub bytes: u64,
    /// What is done.
    pub action: &'static str,
    /// They are unlocked for it, and locked again.
    pub unlock: bool,
    /// Words that are programmed.
    pub programmed: u32,
    /// Why, where that is not plain.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub why: String,
}

impl SpacePlan {
    /// The plan of `space`, whose chips are `chips`.
    pub fn new(space: &PlannedSpace, chips: String) -> Self {
        let like = |one: &PlannedSector, two: &PlannedSector| {
            (one.action, one.unlock, &one.why) == (two.action, two.unlock, &two.why)
        };
        let size = space.width.bytes() as u64;
        let run = |sectors: &[PlannedSector]| {
            let first = &sectors[0];
            let words = sectors.iter().map(|sector| sector.words).sum();
            Run {
                first: first.number,
                last: first.number + sectors.len() as u32 - 1,
                address: space.base.plus(first.first.0).0,
                words,
                byte_address: u64::from(first.first.0) * size,
                bytes: u64::from(words) * size,
                action: word(first.action),
                unlock: first.unlock,
                programmed: sectors.iter().map(|sector| sector.programmed).sum(),
                why: first.why.clone(),
            }
        };
        Self {
            name: space.name.clone(),
            bits: space.width.bits(),
            chips,
            runs: space.sectors.chunk_by(like).map(run).collect(),
        }
    }
}

fn word(action: Action) -> &'static str {
    match action {
        Action::Keep => "keep",
        Action::Program => "program",
        Action::Erase => "erase",
        Action::Locked => "locked",
        Action::Leave => "leave",
    }
}

/// The sectors that stay other than the image says, as sentences.
pub fn missed(spaces: &[PlannedSpace], missed: &[Missed]) -> Vec<String> {
    let said = |missed: &Missed| {
        let space = spaces.iter().find(|space| space.name == missed.space)?;
        let sector = space.sectors.get(missed.sector as usize)?;
        Some(format!(
            "{} sector {} stays as it is, {}: {} of it {} otherwise in the image",
            space.name,
            sector.number,
            sector.why,
            counted(u64::from(missed.words), "word"),
            if missed.words == 1 { "is" } else { "are" }
        ))
    };
    missed.iter().filter_map(said).collect()
}

impl PlanReport {
    /// What stands before the sectors, section by section: a head and its lines.
    pub fn before(&self) -> Vec<(&'static str, Vec<String>)> {
        let new = if self.backup_is_new { ", taken for this plan" } else { "" };
        let how = if self.backup_equals {
            "the module equals it now"
        } else {
            "from before the write that came to no good end, and not what the module holds now"
        };
        vec![("way back", vec![format!("{}{new}; {how}", self.backup)])]
    }

    /// What stands after them.
    pub fn after(&self) -> Vec<(&'static str, Vec<String>)> {
        let changes = self.code.as_ref().map(|_| {
            let sectors = counted(self.sectors, "sector");
            format!("{sectors}, {} to program", format_size(self.bytes, BINARY))
        });
        let time = self.times.map(|times| {
            format!(
                "about {}: line {}, erasing {}, programming beyond the line {}, proofs and power \
                 cycle {}",
                seconds(times.total_s),
                seconds(times.line_s),
                seconds(times.erase_s),
                seconds(times.program_s),
                seconds(times.total_s - times.line_s - times.erase_s - times.program_s)
            )
        });
        vec![
            ("changes", changes.into_iter().collect()),
            ("stays", self.left.clone()),
            ("fit", self.fit.clone()),
            ("time", time.into_iter().collect()),
            ("think of", self.cautions.clone()),
        ]
    }
}

impl fmt::Display for PlanReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(code) = &self.code {
            let simulated = if self.simulated { " (simulated)" } else { "" };
            write!(f, "plan {code} for {}{simulated}: {}", self.specimen, self.what)?;
        } else {
            let kept = match self.words_kept {
                0 => String::new(),
                n => format!(
                    ", but for {} in zones that keep theirs ({TAKE} takes such a zone)",
                    counted(n, "word")
                ),
            };
            let Self { specimen, what, .. } = self;
            let holds = "nothing is to be done, the module holds that already";
            write!(f, "{specimen}: {what}; {holds}{kept}")?;
        }
        self.before().iter().try_for_each(|(head, lines)| labelled(f, head, lines))?;
        if self.code.is_some() {
            self.spaces.iter().try_for_each(|space| write!(f, "\n{space}"))?;
        }
        self.after().iter().try_for_each(|(head, lines)| labelled(f, head, lines))?;
        labelled(f, "next", self.next.as_slice())
    }
}

/// Lines below each other, the first behind their label.
fn labelled(f: &mut fmt::Formatter<'_>, label: &str, lines: &[String]) -> fmt::Result {
    let mut label = label;
    for line in lines {
        write!(f, "\n{label:10}{line}")?;
        label = "";
    }
    Ok(())
}

impl fmt::Display for SpacePlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:10}{} bits, {}", self.name, self.bits, self.chips)?;
        let heads = ["sectors", "word address", "byte address", ""].map(String::from);
        let rows: Vec<_> = [heads].into_iter().chain(self.runs.iter().map(Run::columns)).collect();
        let wide = |at: usize| rows.iter().map(|row| row[at].chars().count()).max().unwrap_or(0);
        let [one, two, three] = [wide(0), wide(1), wide(2)];
        for [sectors, words, bytes, done] in &rows {
            let row = format!("  {sectors:one$}  {words:two$}  {bytes:three$}  {done}");
            write!(f, "\n{}", row.trim_end())?;
        }
        Ok(())
    }
}

impl Run {
    /// Sectors, word addresses, byte addresses, what is done.
    pub fn columns(&self) -> [String; 4] {
        let sectors = if self.first == self.last {
            self.first.to_string()
        } else {
            format!("{}-{}", self.first, self.last)
        };
        let at = WordAddress(self.address);
        let programmed = counted(u64::from(self.programmed), "word");
        let done = match self.action {
            "program" => format!("program {programmed}, no erase"),
            "erase" if self.programmed == 0 => "erase, nothing to program".into(),
            "erase" => format!("erase, program {programmed}"),
            "locked" => format!("LOCKED, stays: {}", self.why),
            "leave" => format!("left alone: {}", self.why),
            other => other.to_owned(),
        };
        let unlock = if self.unlock { "; unlocked for it, then locked again" } else { "" };
        [
            sectors,
            format!("{at}+0x{:X}", self.words),
            format!("0x{:X}+0x{:X}", self.byte_address, self.bytes),
            done + unlock,
        ]
    }
}

/// Seconds as people say them.
fn seconds(seconds: f64) -> String {
    if seconds < 10.0 { format!("{seconds:.1} s") } else { format!("{seconds:.0} s") }
}
