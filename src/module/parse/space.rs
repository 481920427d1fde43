//! Reads `[[space]]`.

use super::value;
use crate::bus::{Width, WordAddress};
use crate::module::keys::{SPACE, TIMING};
use crate::module::section::{At, Section};
use crate::module::{Family, Kind, Level, LineLevel, SheetError, SheetFault, Space, Timing};

/// Lines of a space that later checks point to.
pub(super) struct Place {
    /// The line of the heading.
    pub heading: usize,
    /// The line of `select`, or of the heading.
    pub select: usize,
}

/// Reads every space; the module has `lines` address lines.
pub(super) fn spaces(top: &Section<'_>, lines: u8) -> Result<(Vec<Space>, Vec<Place>), SheetError> {
    let rows = top.rows("space", &SPACE)?;
    if rows.is_empty() {
        let missing = SheetFault::Missing("at least one [[space]]");
        return Err(top.error("space", top.line, missing));
    }
    let mut names: Vec<At<String>> = Vec::new();
    let (mut spaces, mut places) = (Vec::new(), Vec::new());
    for row in &rows {
        let name = row.need("name", row.text("name")?, "a name for this space")?;
        if let Some(first) = names.iter().find(|first| first.value == name.value) {
            let fault = SheetFault::Duplicate { name: name.value, first: first.line };
            return Err(row.error("name", name.line, fault));
        }
        let select = row.levels("select")?;
        places.push(Place {
            heading: row.line,
            select: select.as_ref().map_or(row.line, |at| at.line),
        });
        let select = select.map_or_else(Vec::new, |at| at.value);
        if select.is_empty() && rows.len() > 1 {
            let missing = "the control lines that select this space, as there are several";
            return Err(row.error("select", row.line, SheetFault::Missing(missing)));
        }
        spaces.push(space(row, name.value.clone(), select, lines)?);
        names.push(name);
    }
    Ok((spaces, places))
}

fn space(
    row: &Section<'_>,
    name: String,
    select: Vec<LineLevel>,
    lines: u8,
) -> Result<Space, SheetError> {
    let kinds = [Kind::Flash, Kind::Ram, Kind::Rom].map(|kind| (kind.word(), kind));
    let kind = row.need("kind", row.choice("kind", &kinds)?, "flash, ram or rom")?.value;
    let (base, words) = extent(row, lines)?;
    let (read, write) = strobes(row, kind, &select)?;
    let families = Family::ALL.map(|family| (family.word(), family));
    let family = row.choice("family", &families)?;
    only_for(row, "family", family, kind, Kind::Flash)?;
    let battery = row.flag("battery")?;
    only_for(row, "battery", battery, kind, Kind::Ram)?;
    let width = width(row)?;
    Ok(Space {
        name,
        kind,
        width,
        base,
        words,
        select,
        read,
        write,
        family: value(family),
        chips: super::lanes::chips(row, width)?,
        timing: timing(row)?,
        battery: value(battery).unwrap_or(kind == Kind::Ram),
    })
}

fn width(row: &Section<'_>) -> Result<Width, SheetError> {
    let bits = row.number("width", 0..=u32::MAX)?;
    let At { value: bits, line } = row.need("width", bits, "8, 16 or 32 data lines")?;
    Width::from_bits(bits).ok_or_else(|| {
        let (expected, got) = ("8, 16 or 32 data lines".to_owned(), bits.to_string());
        row.error("width", line, SheetFault::Value { expected, got })
    })
}

fn extent(row: &Section<'_>, lines: u8) -> Result<(WordAddress, u32), SheetError> {
    let base = row.number("base", 0..=u32::MAX)?;
    let words = row.number("words", 1..=u32::MAX)?;
    let missing = "the length in words, as this version cannot take it from the chips";
    let words = row.need("words", words, missing)?;
    let count = 1_u64 << lines;
    let first = base.map_or(0, |at| at.value);
    if u64::from(first) + u64::from(words.value) > count {
        let base_is_wrong = u64::from(words.value) <= count;
        let (key, line) = match base {
            Some(at) if base_is_wrong => ("base", at.line),
            _ => ("words", words.line),
        };
        let base = WordAddress(first);
        let fault = SheetFault::SpaceTooLong { base, words: words.value, lines, count };
        return Err(row.error(key, line, fault));
    }
    Ok((WordAddress(first), words.value))
}

type Strobes = (Vec<LineLevel>, Option<Vec<LineLevel>>);

fn strobes(row: &Section<'_>, kind: Kind, select: &[LineLevel]) -> Result<Strobes, SheetError> {
    let read = row.levels("read")?;
    let write = row.levels("write")?;
    if kind == Kind::Rom {
        only_for(row, "write", write.as_ref(), kind, Kind::Ram)?;
    }
    if let Some(At { line, .. }) = write.as_ref().filter(|at| at.value.is_empty()) {
        let (expected, got) = ("at least one strobe".to_owned(), "none".to_owned());
        return Err(row.error("write", *line, SheetFault::Value { expected, got }));
    }
    let or_usual = |at: Option<At<Vec<LineLevel>>>, line: &str| {
        let usual = vec![LineLevel { line: line.to_owned(), level: Level::Low }];
        at.unwrap_or(At { value: usual, line: row.line })
    };
    let read = or_usual(read, "OE");
    let write = (kind != Kind::Rom).then(|| or_usual(write, "WE"));
    for (key, at) in [("read", Some(&read)), ("write", write.as_ref())] {
        let Some(at) = at else { continue };
        let both = at.value.iter().find(|one| select.iter().any(|sel| sel.line == one.line));
        if let Some(both) = both {
            return Err(row.error(key, at.line, SheetFault::SelectIsStrobe(both.line.clone())));
        }
    }
    if let Some(at) = &write
        && at.value.iter().all(|one| read.value.contains(one))
    {
        return Err(row.error("write", at.line, SheetFault::ReadWrites));
    }
    Ok((read.value, write.map(|at| at.value)))
}

/// Refuses a key that means nothing for this kind of space.
fn only_for<T>(
    row: &Section<'_>,
    key: &str,
    at: Option<impl std::borrow::Borrow<At<T>>>,
    kind: Kind,
    wanted: Kind,
) -> Result<(), SheetError> {
    match at {
        Some(at) if kind != wanted => {
            let wanted = if key == "write" { "flash or ram" } else { wanted.word() };
            let fault = SheetFault::NotForKind { wanted, kind: kind.word() };
            Err(row.error(key, at.borrow().line, fault))
        }
        _ => Ok(()),
    }
}

fn timing(row: &Section<'_>) -> Result<Timing, SheetError> {
    let usual = Timing::default();
    let Some(times) = row.table("timing", &TIMING)? else { return Ok(usual) };
    let or = |key, usual| {
        let at = times.number(key, 0..=u32::from(u16::MAX))?;
        Ok(at.map_or(usual, |at| at.value as u16))
    };
    // The space is read at twice this time too, and a shape holds at most 65535 ns.
    let access = times.number("access_ns", 1..=u32::from(u16::MAX / 2))?;
    Ok(Timing {
        access: access.map_or(usual.access, |at| at.value as u16),
        set_up: or("set_up_ns", usual.set_up)?,
        hold: or("hold_ns", usual.hold)?,
        recover: or("recover_ns", usual.recover)?,
        release: or("release_ns", usual.release)?,
    })
}
