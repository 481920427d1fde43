//! Adapter sheets: which connector pin each adapter line leads to.

use super::keys::{ADAPTER, closest};
use super::line::same_pin;
use super::parse::{format_of, value};
use super::section::{At, Section};
use super::source::{Source, shown};
use super::{LineName, SheetError, SheetFault};

/// What an adapter sheet says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdapterSheet {
    /// The adapter's name, 1 to 64 characters.
    pub name: String,
    /// The board name that the adapter reports in HELLO, if the sheet is for one board.
    pub board: Option<String>,
    /// Adapter lines and the connector pins they lead to, in sheet order.
    pub lines: Vec<Wire>,
    /// Control lines whose pull resistor on the board goes low.
    pub pulled_down: Vec<String>,
    /// Who wrote it.
    pub author: Option<String>,
    /// Which issue of the sheet it is.
    pub revision: Option<String>,
    /// The text it was read from.
    pub text: String,
}

/// An adapter line and the connector pin it leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wire {
    /// A data, address or control line of the adapter.
    pub line: LineName,
    /// The pin; `None` where the sheet says `?`, not traced.
    pub pin: Option<String>,
}

impl AdapterSheet {
    /// Reads an adapter sheet; `file` is only named in errors.
    pub fn parse(file: &str, text: &str) -> Result<Self, SheetError> {
        let source = Source { file, text };
        let table = source.table()?;
        let top = Section::top(source, table.get_ref(), &ADAPTER)?;
        format_of(&top)?;
        let lines = wires(&top)?;
        Ok(Self {
            name: top.need("name", top.text("name")?, "the adapter's name")?.value,
            board: value(top.text("board")?),
            pulled_down: pulled_down(&top, &lines)?,
            lines,
            author: value(top.text("author")?),
            revision: value(top.text("revision")?),
            text: text.to_owned(),
        })
    }

    /// The adapter line that leads to `pin`.
    pub fn line_at(&self, pin: &str) -> Option<&LineName> {
        let leads = |wire: &&Wire| wire.pin.as_ref().is_some_and(|there| same_pin(there, pin));
        self.lines.iter().find(leads).map(|wire| &wire.line)
    }
}

fn wires(top: &Section<'_>) -> Result<Vec<Wire>, SheetError> {
    let Some(table) = top.open_table("lines")? else {
        let missing = SheetFault::Missing("a table of adapter lines and their connector pins");
        return Err(top.error("lines", top.line, missing));
    };
    let mut wires: Vec<(Wire, usize)> = Vec::new();
    for (name, at, value) in table.entries() {
        let line = LineName::parse(name).filter(|line| {
            matches!(line, LineName::Data(_) | LineName::Address(_) | LineName::Control(_))
        });
        let Some(line) = line else {
            let expected = "an adapter line (D0-D31, A0-A31 or a control line)".to_owned();
            let fault = SheetFault::NoSuchName { expected, got: shown(name), closest: None };
            return Err(table.error(name, at, fault));
        };
        let pin = Some(table.as_text(name, at, value)?).filter(|pin| pin != "?");
        if let Some(pin) = &pin {
            let there = |(wire, _): &&(Wire, usize)| {
                wire.pin.as_ref().is_some_and(|other| same_pin(other, pin))
            };
            if let Some((_, first)) = wires.iter().find(there) {
                let fault = SheetFault::Duplicate { name: pin.clone(), first: *first };
                return Err(table.error(name, at, fault));
            }
        }
        wires.push((Wire { line, pin }, at));
    }
    Ok(wires.into_iter().map(|(wire, _)| wire).collect())
}

fn pulled_down(top: &Section<'_>, wires: &[Wire]) -> Result<Vec<String>, SheetError> {
    let control: Vec<_> = wires
        .iter()
        .filter_map(|wire| match &wire.line {
            LineName::Control(name) => Some(name.as_str()),
            _ => None,
        })
        .collect();
    let mut names: Vec<At<String>> = Vec::new();
    for name in top.texts("pulled_down")? {
        if !control.contains(&name.value.as_str()) {
            let expected = format!("a control line of [lines] ({})", control.join(", "));
            let closest = closest(&name.value, control.iter().copied()).map(str::to_owned);
            let fault = SheetFault::NoSuchName { expected, got: shown(&name.value), closest };
            return Err(top.error("pulled_down", name.line, fault));
        }
        if let Some(first) = names.iter().find(|first| first.value == name.value) {
            let fault = SheetFault::Duplicate { name: name.value, first: first.line };
            return Err(top.error("pulled_down", name.line, fault));
        }
        names.push(name);
    }
    Ok(names.into_iter().map(|at| at.value).collect())
}
