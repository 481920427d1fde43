//! What identification has found, for people and for programs.

use super::locks::Locks;
use crate::bus::WordAddress;
use crate::chips::{Asking, Catalogue, Cfi, Finding, Geometry, Identity, Region, Window, Wiring};
use crate::image::counted;
use crate::shelf::ChipRecord;
use jiff::Timestamp;
use serde::Serialize;
use std::fmt;

/// How the warning of unlike chips side by side begins.
pub const MIXED: &str = "the chips side by side are not the same";

/// Captures with the same contents that are named one by one: blank RAM equals many.
const EQUALS: usize = 3;

/// What is on the module.
#[derive(Clone, Debug, Serialize)]
pub struct IdentifyReport {
    /// The individual module, if it was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub specimen: Option<String>,
    /// It is the simulated bench's.
    pub simulated: bool,
    /// The board.
    pub board: String,
    /// The module sheet.
    pub sheet: String,
    /// The rail in millivolts, as the sheet asks for it.
    pub rail_mv: u16,
    /// Every space of the sheet.
    pub spaces: Vec<SpaceReport>,
    /// Captures that were taken before commands were sent.
    pub captured: Vec<String>,
}

/// What is in one space.
#[derive(Clone, Debug, Serialize)]
pub struct SpaceReport {
    /// Its name.
    pub name: String,
    /// What the sheet calls it.
    pub kind: &'static str,
    /// Data lines.
    pub bits: u32,
    /// Where it begins, a word address.
    pub base: u32,
    /// Its words.
    pub words: u32,
    /// How its chips were asked; none: by reading only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<String>,
    /// Its chips, lowest data lines first.
    pub chips: Vec<ChipReport>,
    /// What must be known, most important first.
    pub warnings: Vec<String>,
    /// What is worth knowing.
    pub notes: Vec<String>,
    /// Captures on the shelf with the same contents, latest first.
    pub equals: Vec<String>,
    /// The chips that answered, as the program sees them: one entry for those that take commands
    /// together.
    #[serde(skip)]
    pub flash: Vec<FlashFound>,
    /// How quickly writes can follow each other there.
    #[serde(skip)]
    pub window: Window,
    /// Why its chips were not asked, where the adapter is too slow for them; it is a note, too.
    #[serde(skip)]
    pub too_slow: Option<String>,
}

/// Chips side by side that answered together.
#[derive(Clone, Debug)]
pub struct FlashFound {
    /// Their places among the chips of the space.
    pub chips: Vec<usize>,
    /// How they take commands.
    pub asking: Asking,
    /// What each answered.
    pub findings: Vec<Finding>,
    /// The sectors of each.
    pub geometries: Vec<Option<Geometry>>,
    /// The locks of each.
    pub locks: Vec<Locks>,
}

/// What one chip is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct ChipReport {
    /// Its reference on the module.
    #[serde(rename = "ref")]
    pub reference: String,
    /// Its data lines.
    pub lane: String,
    /// What reading with both precharges has shown.
    pub presence: String,
    /// It answered commands.
    pub answered: bool,
    /// Its part, or the parts that answer so; none if no part is known.
    pub parts: Vec<String>,
    /// Where the part list has it from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// Maker, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub maker: Option<String>,
    /// Device codes as read, hexadecimal.
    pub device: Vec<String>,
    /// Everything read in id mode, at words 0, 1, 2, 3, E, F and 100.
    pub raw_ids: Vec<String>,
    /// Its command family.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub family: Option<&'static str>,
    /// Size and sectors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub geometry: Option<String>,
    /// Bytes of the chip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bytes: Option<u64>,
    /// Its sectors in address order; none while there is a doubt. `geometry` says it in words.
    #[serde(skip)]
    pub sectors: Vec<Region>,
    /// Data lines of its lane.
    #[serde(skip)]
    pub bits: u32,
    /// Its query table from offset 10 on, hexadecimal.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub query: Option<String>,
    /// Supply and times as its table tells them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub electrical: Option<String>,
    /// Which of its sectors are locked.
    pub locks: String,
}

impl ChipReport {
    /// A chip that was only looked at.
    pub(super) fn looked(reference: &str, lane: String, presence: String) -> Self {
        let locks = "not read".into();
        Self { reference: reference.into(), lane, presence, locks, ..Self::default() }
    }

    /// Adds what it answered.
    pub(super) fn take(&mut self, finding: &Finding, chip: &Wiring, catalogue: &Catalogue) {
        let identity = finding.identity(catalogue, super::ask::lane_width(chip));
        let hex = |word: &u16| format!("0x{word:02X}");
        self.answered = finding.answered();
        self.raw_ids = finding.ids.iter().map(hex).collect();
        if let Some(identity) = &identity {
            self.maker = finding.maker().map(|maker| maker.to_string());
            self.device = finding.device().iter().map(hex).collect();
            self.parts = identity.parts().iter().map(|part| part.name.clone()).collect();
            self.source = source(identity);
        }
        let way = finding.settled_way(identity.as_ref());
        self.family = way.map(|way| way.family.word());
        let geometry = finding.geometry(identity.as_ref());
        self.bytes = geometry.as_ref().map(|geometry| geometry.size_bytes);
        self.bits = u32::from(chip.lane().bits);
        self.sectors = geometry
            .as_ref()
            .filter(|geometry| geometry.doubt.is_none())
            .map_or_else(Vec::new, |geometry| geometry.regions.clone());
        self.geometry = geometry.map(|geometry| geometry.to_string());
        if !finding.query.is_empty() {
            let bytes = finding.query.iter().map(|byte| format!("{byte:02X}"));
            self.query = Some(bytes.collect::<Vec<_>>().join(" "));
        }
        self.electrical = finding.cfi.as_ref().and_then(|cfi| cfi.as_ref().ok()).map(electrical);
    }

    pub(super) fn take_locks(&mut self, locks: &Locks) {
        self.locks = locks.to_string();
    }

    /// What records and plans keep of it; `identified` is when it answered.
    pub(crate) fn record(&self, identified: Option<Timestamp>) -> ChipRecord {
        ChipRecord {
            chip: self.reference.clone(),
            lane: self.lane.clone(),
            ids: if self.answered { self.raw_ids.join(" ") } else { self.presence.clone() },
            cfi: self.query.clone().unwrap_or_else(|| "none".into()),
            lock_map: self.locks.clone(),
            part: self.what(),
            identified,
        }
    }

    /// What it is, in a few words: to compare chips side by side.
    pub fn what(&self) -> String {
        let what = match (self.parts.as_slice(), &self.maker) {
            ([], None) if self.query.is_some() => {
                "a part with a query table and no known id".into()
            }
            ([], None) => "nothing that answers commands".into(),
            ([], Some(_)) => "unknown part".into(),
            ([one], _) => one.clone(),
            (several, _) => format!("one of {}", several.join(", ")),
        };
        match &self.maker {
            Some(maker) => format!("{what} (maker {maker}, device {})", self.device.join(" ")),
            None => what,
        }
    }
}

fn source(identity: &Identity<'_>) -> Option<String> {
    let parts = identity.parts();
    let memory = parts.iter().any(|part| part.is_from_memory());
    let source = parts.first().map(|part| part.source.clone())?;
    Some(if memory && !source.contains("from memory") {
        source + " (partly from memory)"
    } else {
        source
    })
}

fn electrical(cfi: &Cfi) -> String {
    let mut said = vec![format!("supply {} to {}", cfi.vcc.least, cfi.vcc.most)];
    said.extend(cfi.vpp.map(|vpp| format!("VPP {} to {}", vpp.least, vpp.most)));
    let times =
        [("word", cfi.times.word), ("buffer", cfi.times.buffer), ("sector", cfi.times.sector)];
    for (what, time) in times {
        let Some(time) = time else { continue };
        let most = time.most.map(|most| format!(" (at most {})", span(most.0)));
        said.push(format!("{what} {}{}", span(time.typical.0), most.unwrap_or_default()));
    }
    said.extend(cfi.write_buffer.map(|bytes| format!("write buffer of {bytes} bytes")));
    said.join(", ")
}

/// Nanoseconds as people say them.
fn span(ns: u64) -> String {
    match ns {
        0..1_000_000 => format!("{} us", ns / 1_000),
        1_000_000..1_000_000_000 => format!("{} ms", ns / 1_000_000),
        _ => format!("{:.1} s", (ns / 1_000_000) as f64 / 1_000.0),
    }
}

impl fmt::Display for IdentifyReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whose = self.specimen.as_deref().unwrap_or(&self.sheet);
        write!(f, "{whose}: sheet {}, rail {} mV, board {}", self.sheet, self.rail_mv, self.board)?;
        if self.simulated {
            write!(f, " (simulated)")?;
        }
        self.spaces.iter().try_for_each(|space| write!(f, "\n{space}"))?;
        let captured = &mut self.captured.iter();
        captured.try_for_each(|id| write!(f, "\ncaptured before any command: {id}"))
    }
}

impl fmt::Display for SpaceReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let base = WordAddress(self.base);
        let (name, kind, bits, words) = (&self.name, self.kind, self.bits, self.words);
        write!(f, "{name}: {kind}, {bits} bits, 0x{words:X} words from {base}; ")?;
        match &self.asked {
            Some(way) => write!(f, "asked by {way}")?,
            None => write!(f, "no command sent")?,
        }
        for alike in self.chips.chunk_by(ChipReport::is_like) {
            let names = alike.iter().map(|chip| format!("{} {}", chip.reference, chip.lane));
            let each = if alike.len() > 1 { "\n    each " } else { " " };
            write!(f, "\n  {}:{each}", names.collect::<Vec<_>>().join(", "))?;
            alike[0].write_found(f)?;
        }
        for warning in &self.warnings {
            write!(f, "\n  ! {warning}")?;
        }
        for note in &self.notes {
            write!(f, "\n  {note}")?;
        }
        for id in self.equals.iter().take(EQUALS) {
            write!(f, "\n  content equals capture {id}")?;
        }
        if self.equals.len() > EQUALS {
            let more = (self.equals.len() - EQUALS) as u64;
            write!(f, "\n  and {} before that", counted(more, "capture"))?;
        }
        Ok(())
    }
}

impl ChipReport {
    /// True if the same was found of both.
    fn is_like(&self, other: &Self) -> bool {
        let (reference, lane) = (other.reference.clone(), other.lane.clone());
        Self { reference, lane, ..self.clone() } == *other
    }

    fn write_found(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.answered {
            return f.write_str(&self.presence);
        }
        f.write_str(&self.what())?;
        if let Some(family) = self.family {
            write!(f, ", {family} commands")?;
        }
        if let Some(geometry) = &self.geometry {
            write!(f, "\n    {geometry}")?;
        }
        match &self.electrical {
            Some(said) => write!(f, "\n    query table: {said}")?,
            None => write!(f, "\n    no query table")?,
        }
        write!(f, "\n    locks: {}", self.locks)?;
        if let Some(source) = &self.source {
            write!(f, "\n    known from: {source}")?;
        }
        if self.parts.is_empty() {
            write!(f, "\n    read in id mode: {}", self.raw_ids.join(" "))?;
        }
        Ok(())
    }
}
