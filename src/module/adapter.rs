//! Adapter sheets: which connector pin each adapter line leads to.

use super::keys::{ADAPTER, closest};
use super::line::same_pin;
use super::parse::{format_is_known, format_is_there, value};
use super::section::{At, Section};
use super::source::{Source, shown};
use super::{LineName, Review, SheetFault};
use std::collections::BTreeMap;

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
    /// Reads an adapter sheet, or gives the first fault found; `file` is only named in it.
    #[cfg(test)]
    pub fn parse(file: &str, text: &str) -> Result<Self, super::SheetError> {
        Self::read(file, text).into_result()
    }

    /// Reads an adapter sheet and gives every fault and every warning.
    pub fn review(file: &str, text: &str) -> Review<Self> {
        let mut review = Self::read(file, text).sorted();
        let open = |sheet: &Self| {
            let open = sheet.lines.iter().filter(|wire| wire.pin.is_none());
            open.map(|wire| wire.line.to_string()).collect::<Vec<_>>()
        };
        let open = review.sheet.as_ref().map(open).unwrap_or_default();
        if !open.is_empty() {
            let lines = open.join(", ");
            review.warnings.push(format!("lines {lines} are not traced: they reach no pin"));
        }
        review
    }

    fn read(file: &str, text: &str) -> Review<Self> {
        let source = Source::new(file, text);
        let read = source.table().and_then(|table| {
            let mut top = Section::top(&source, table.get_ref());
            if !format_is_known(&top) {
                return None;
            }
            top.check(&ADAPTER);
            format_is_there(&top);
            let lines = wires(&top);
            let name = value(top.need("name", top.text("name"), "the adapter's name"));
            let board = value(top.text("board"));
            let pulled_down = pulled_down(&top, &lines);
            let (author, revision) = (value(top.text("author")), value(top.text("revision")));
            let text = text.to_owned();
            Some(Self { name: name?, board, lines, pulled_down, author, revision, text })
        });
        Review::new(source, read)
    }

    /// The adapter line that leads to `pin`.
    pub fn line_at(&self, pin: &str) -> Option<&LineName> {
        let leads = |wire: &&Wire| wire.pin.as_ref().is_some_and(|there| same_pin(there, pin));
        self.lines.iter().find(leads).map(|wire| &wire.line)
    }
}

fn wires(top: &Section<'_>) -> Vec<Wire> {
    let Some(table) = top.open_table("lines") else {
        top.need::<()>("lines", None, "a table of adapter lines and their connector pins");
        return Vec::new();
    };
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let mut wires = Vec::new();
    for (name, at, value) in table.entries() {
        let line = LineName::parse(name).filter(|line| {
            matches!(line, LineName::Data(_) | LineName::Address(_) | LineName::Control(_))
        });
        let Some(line) = line else {
            let expected = "an adapter line (D0-D31, A0-A31 or a control line)".to_owned();
            let fault = SheetFault::NoSuchName { expected, got: shown(name), closest: None };
            table.tell(name, at, fault);
            continue;
        };
        let Some(pin) = table.as_text(name, at, value) else { continue };
        let pin = Some(pin).filter(|pin| pin != "?");
        if let Some(pin) = &pin
            && let Some(first) = seen.insert(pin.to_ascii_uppercase(), at)
        {
            let fault = SheetFault::Duplicate { name: pin.clone(), first };
            table.tell(name, at, fault);
        }
        wires.push(Wire { line, pin });
    }
    wires
}

fn pulled_down(top: &Section<'_>, wires: &[Wire]) -> Vec<String> {
    let control: Vec<_> = wires
        .iter()
        .filter_map(|wire| match &wire.line {
            LineName::Control(name) => Some(name.as_str()),
            _ => None,
        })
        .collect();
    let mut names: Vec<At<String>> = Vec::new();
    for name in top.texts("pulled_down").unwrap_or_default() {
        if !control.contains(&name.value.as_str()) {
            let expected = format!("a control line of [lines] ({})", control.join(", "));
            let closest = closest(&name.value, control.iter().copied()).map(str::to_owned);
            let fault = SheetFault::NoSuchName { expected, got: shown(&name.value), closest };
            top.tell("pulled_down", name.line, fault);
        } else if let Some(first) = names.iter().find(|first| first.value == name.value) {
            let fault = SheetFault::Duplicate { name: name.value, first: first.line };
            top.tell("pulled_down", name.line, fault);
        } else {
            names.push(name);
        }
    }
    names.into_iter().map(|at| at.value).collect()
}
