//! Reads `[[space]]`.

use super::scripts::{Written, written};
use super::value;
use crate::bus::{Width, WordAddress};
use crate::module::keys::{SPACE, TIMING};
use crate::module::section::{At, Section};
use crate::module::{Family, Kind, Level, LineLevel, Pull, SheetFault, Space, Timing};
use std::collections::BTreeSet;

/// Every space needs two shape slots of an adapter, which counts at most 255.
const MOST_SPACES: usize = 64;
/// Banks of a space at most: what 16 bits can tell apart.
const MOST_BANKS: u32 = 1 << 16;

/// A space as far as it could be read, with lines that later checks point to.
pub(super) struct Found {
    /// Its name, if it has a good one.
    pub name: Option<String>,
    /// The line of the heading.
    pub heading: usize,
    /// The line of `select`, or of the heading.
    pub select: usize,
    /// The space, if all of it is good so far.
    pub space: Option<Space>,
}

/// All spaces of a sheet as far as they could be read.
pub(super) struct Spaces {
    found: Vec<Found>,
}

impl Spaces {
    /// True if every space is good.
    pub fn is_whole(&self) -> bool {
        !self.found.is_empty() && self.found.iter().all(|found| found.space.is_some())
    }

    /// What was found, in sheet order.
    pub fn iter(&self) -> impl Iterator<Item = &Found> + Clone {
        self.found.iter()
    }

    /// The spaces that are good.
    pub fn good(&self) -> impl Iterator<Item = &Space> + Clone {
        self.found.iter().filter_map(|found| found.space.as_ref())
    }

    /// Every control line of a good space.
    pub fn control_lines(&self) -> BTreeSet<&str> {
        self.good().flat_map(Space::control_lines).collect()
    }

    /// The spaces, if all are good.
    pub fn into_spaces(self) -> Option<Vec<Space>> {
        if self.found.is_empty() {
            return None;
        }
        self.found.into_iter().map(|found| found.space).collect()
    }
}

/// Reads every space; the module has `lines` address lines, if that is known.
pub(super) fn spaces(top: &Section<'_>, lines: Option<u8>) -> Spaces {
    let rows = top.rows("space", &SPACE, MOST_SPACES);
    if rows.is_empty() {
        top.need::<()>("space", None, "at least one [[space]]");
    }
    let mut names: Vec<At<String>> = Vec::new();
    let mut found = Vec::new();
    let mut scripts = Vec::new();
    for row in &rows {
        let before = top.source.count();
        let name = row.need("name", row.text("name"), "a name for this space");
        if let Some(name) = &name {
            match names.iter().find(|first| first.value == name.value) {
                Some(first) => {
                    let fault =
                        SheetFault::Duplicate { name: name.value.clone(), first: first.line };
                    row.tell("name", name.line, fault);
                }
                None => names.push(name.clone()),
            }
        }
        let select = row.levels("select");
        let at = select.as_ref().map_or(row.line, |at| at.line);
        let none = select.as_ref().map_or(!row.has("select"), |at| at.value.is_empty());
        if none && rows.len() > 1 {
            let missing = "the control lines that select this space, as there are several";
            row.tell("select", row.line, SheetFault::Missing(missing));
        }
        let select = select.map_or_else(Vec::new, |at| at.value);
        let name = value(name);
        let space = space(row, name.clone().unwrap_or_default(), select, lines);
        let space = space.filter(|_| top.source.count() == before && name.is_some());
        found.push(Found { name, heading: row.line, select: at, space });
        scripts.push((written(row, "open"), written(row, "close")));
    }
    read_scripts(&rows, &mut found, scripts);
    Spaces { found }
}

/// Scripts may name the shape of any space, so they are read when all spaces are known.
fn read_scripts(
    rows: &[Section<'_>],
    found: &mut [Found],
    scripts: Vec<(Option<Written>, Option<Written>)>,
) {
    let rules: Vec<_> =
        found.iter().map(|one| one.space.as_ref().map(super::scripts::rule)).collect();
    for ((row, one), (open, close)) in rows.iter().zip(found).zip(scripts) {
        let banks = row.number("banks", 2..=MOST_BANKS);
        if let Some(banks) = banks
            && !row.has("open")
        {
            row.tell("banks", banks.line, SheetFault::BanksWithoutOpen);
        }
        let payload = u64::from(row.has("banks"));
        let open = open.and_then(|open| open.check(row, &rules, payload));
        let close = close.and_then(|close| close.check(row, &rules, 0));
        if let Some(space) = &mut one.space {
            (space.open, space.close, space.banks) = (open, close, value(banks));
        }
    }
}

fn space(
    row: &Section<'_>,
    name: String,
    select: Vec<LineLevel>,
    lines: Option<u8>,
) -> Option<Space> {
    let kinds = [Kind::Flash, Kind::Ram, Kind::Rom].map(|kind| (kind.word(), kind));
    let kind = value(row.need("kind", row.choice("kind", &kinds), "flash, ram or rom"));
    let extent = extent(row, kind, lines);
    let (read, write) = strobes(row, kind, &select);
    let families = Family::ALL.map(|family| (family.word(), family));
    let family = row.choice("family", &families);
    only_for(row, "family", family.map(|at| at.line), kind, Kind::Flash);
    let battery = row.flag("battery");
    only_for(row, "battery", battery.map(|at| at.line), kind, Kind::Ram);
    let width = width(row);
    let chips = super::lanes::chips(row, width, extent.as_ref());
    let timing = timing(row);
    let pulls = Pull::ALL.map(|pull| (pull.word(), Some(pull)));
    let pull = row.choice("pull", &[&[("none", None)], &pulls[..]].concat());
    let buffered = value(row.flag("buffered")).unwrap_or(false);
    let (kind, extent) = (kind?, extent?);
    Some(Space {
        name,
        kind,
        width: width?,
        base: extent.base,
        words: extent.words,
        words_known: extent.known,
        select,
        read,
        write: write.filter(|_| kind != Kind::Rom),
        family: value(family),
        chips,
        timing,
        battery: value(battery).unwrap_or(kind == Kind::Ram),
        pull: value(pull).flatten(),
        buffered,
        open: None,
        close: None,
        banks: None,
    })
}

fn width(row: &Section<'_>) -> Option<Width> {
    let expected = "8, 16 or 32 data lines";
    let At { value: bits, line } =
        row.need("width", row.number("width", 0..=u32::MAX), expected)?;
    let width = Width::from_bits(bits);
    if width.is_none() {
        row.wrong("width", line, expected, bits.to_string());
    }
    width
}

/// The words of a space.
pub(super) struct Extent {
    /// The first.
    pub base: WordAddress,
    /// How many; at most, where that is not known.
    pub words: u32,
    /// The sheet gives the length.
    pub known: bool,
}

fn extent(row: &Section<'_>, kind: Option<Kind>, lines: Option<u8>) -> Option<Extent> {
    let base = row.number("base", 0..=u32::MAX);
    let words = row.number("words", 1..=u32::MAX);
    let chips_tell = kind == Some(Kind::Flash) && !row.has("words");
    if !chips_tell && kind.is_some() {
        row.need("words", words, "the length in words; only of flash the chips may tell it");
    }
    let faulty = |key, none: bool| none && row.has(key);
    if faulty("base", base.is_none()) || (words.is_none() && !chips_tell) {
        return None;
    }
    let (lines, first) = (lines?, base.map_or(0, |at| at.value));
    let count = 1_u64 << lines;
    let least = words.map_or(1, |at| at.value);
    if u64::from(first) + u64::from(least) > count {
        let base_is_wrong = u64::from(least) <= count;
        let (key, line) = match (base, words) {
            (_, Some(words)) if !base_is_wrong => ("words", words.line),
            (Some(base), _) => ("base", base.line),
            (None, words) => ("words", words.map_or(row.line, |at| at.line)),
        };
        let base = WordAddress(first);
        let fault = SheetFault::SpaceTooLong { base, words: least, lines, count };
        row.tell(key, line, fault);
        return None;
    }
    let room = u32::try_from(count - u64::from(first)).unwrap_or(u32::MAX);
    let known = words.is_some();
    let words = words.map_or(room, |at| at.value);
    Some(Extent { base: WordAddress(first), words, known })
}

/// What a space without the key has: OE or WE, low.
fn usual(line: &str) -> Vec<LineLevel> {
    vec![LineLevel { line: line.to_owned(), level: Level::Low }]
}

fn strobes(
    row: &Section<'_>,
    kind: Option<Kind>,
    select: &[LineLevel],
) -> (Vec<LineLevel>, Option<Vec<LineLevel>>) {
    let read = row.levels("read");
    let write = row.levels("write");
    if kind == Some(Kind::Rom) {
        only_for(row, "write", write.as_ref().map(|at| at.line), kind, Kind::Ram);
    }
    let faulty = (row.has("read") && read.is_none()) || (row.has("write") && write.is_none());
    let read = read.unwrap_or_else(|| At { value: usual("OE"), line: row.line });
    if kind == Some(Kind::Rom) {
        both(row, "read", &read, select);
        return (read.value, None);
    }
    let write = write.unwrap_or_else(|| At { value: usual("WE"), line: row.line });
    if write.value.is_empty() {
        row.wrong("write", write.line, "at least one strobe", "none".to_owned());
    } else if !faulty {
        both(row, "read", &read, select);
        both(row, "write", &write, select);
        if write.value.iter().all(|one| read.value.contains(one)) {
            row.tell("write", write.line, SheetFault::ReadWrites);
        }
    }
    (read.value, Some(write.value))
}

/// Tells of a line that is a strobe and a select.
fn both(row: &Section<'_>, key: &str, strobe: &At<Vec<LineLevel>>, select: &[LineLevel]) {
    let both = strobe.value.iter().find(|one| select.iter().any(|sel| sel.line == one.line));
    if let Some(both) = both {
        row.tell(key, strobe.line, SheetFault::SelectIsStrobe(both.line.clone()));
    }
}

/// Tells of a key that means nothing for this kind of space.
fn only_for(row: &Section<'_>, key: &str, at: Option<usize>, kind: Option<Kind>, wanted: Kind) {
    if let (Some(line), Some(kind)) = (at, kind)
        && kind != wanted
    {
        let wanted = if key == "write" { "flash or ram" } else { wanted.word() };
        row.tell(key, line, SheetFault::NotForKind { wanted, kind: kind.word() });
    }
}

fn timing(row: &Section<'_>) -> Timing {
    let usual = Timing::default();
    let Some(times) = row.table("timing", &TIMING) else { return usual };
    let or = |key, usual| {
        let at = times.number(key, 0..=u32::from(u16::MAX));
        at.map_or(usual, |at| at.value as u16)
    };
    // The space is read at twice this time too, and a shape holds at most 65535 ns.
    let access = times.number("access_ns", 1..=u32::from(u16::MAX / 2));
    Timing {
        access: access.map_or(usual.access, |at| at.value as u16),
        set_up: or("set_up_ns", usual.set_up),
        hold: or("hold_ns", usual.hold),
        recover: or("recover_ns", usual.recover),
        release: or("release_ns", usual.release),
    }
}
