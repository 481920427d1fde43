//! Answers in words, hexadecimal, and binary by lane.

use super::Console;
use crate::app::workbench::{AdapterFacts, Answer, LineLevels, SheetFacts, SpaceFacts};
use crate::chips::Verdict;
use crate::module::Kind;

/// How a part of a row is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// What was typed.
    Said,
    /// Plain.
    Plain,
    /// Beside the point.
    Quiet,
    /// A bit that has changed since the last look.
    Changed,
    /// Not done, or doubtful.
    Trouble,
}

/// A row of the console.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row(pub Vec<(Part, String)>);

impl Row {
    /// A line that was typed.
    pub fn said(line: &str) -> Self {
        Self(vec![(Part::Said, format!("> {line}"))])
    }

    /// A sentence.
    pub fn plain(text: impl Into<String>) -> Self {
        Self(vec![(Part::Plain, text.into())])
    }

    /// A refusal.
    pub fn trouble(text: impl Into<String>) -> Self {
        Self(vec![(Part::Trouble, text.into())])
    }
}

fn digits(space: &SpaceFacts, word: u32) -> String {
    format!("{word:0width$X}", width = space.bits as usize / 4)
}

/// The bits of `word` by chip, the highest line first; those of `changed` stand out.
fn by_lane(space: &SpaceFacts, word: u32, changed: u32, row: &mut Row) {
    let whole = [(String::new(), u32::MAX >> (32 - space.bits))];
    let chips = if space.chips.is_empty() { &whole[..] } else { &space.chips[..] };
    for (name, lane) in chips.iter().rev() {
        row.0.push((Part::Quiet, format!("  {name}")));
        for (shown, line) in (0..32).rev().filter(|line| lane >> line & 1 == 1).enumerate() {
            let part = if changed >> line & 1 == 1 { Part::Changed } else { Part::Plain };
            let bit = if word >> line & 1 == 1 { '1' } else { '0' };
            if shown % 4 == 0 {
                row.0.push((Part::Quiet, " ".into()));
            }
            match row.0.last_mut() {
                Some((last, text)) if *last == part => text.push(bit),
                _ => row.0.push((part, bit.to_string())),
            }
        }
    }
}

/// The names of the data lines in `mask`.
fn lines(mask: u32) -> String {
    let names: Vec<_> =
        (0..32).filter(|line| mask >> line & 1 == 1).map(|line| format!("D{line}")).collect();
    match names.len() {
        0..=6 => names.join(", "),
        n => format!("{n} lines, {} the first", names[0]),
    }
}

fn word(
    console: &mut Console,
    sheet: &SheetFacts,
    at: (usize, u32),
    words: [u32; 2],
    into: &mut Vec<Row>,
) {
    let Some(space) = sheet.spaces.get(at.0) else { return };
    let before = console.seen(at.0, at.1, words[1]);
    let changed = before.map_or(0, |before| before ^ words[1]);
    let head = format!("{} {:X}  {}", space.name, at.1, digits(space, words[1]));
    let mut row = Row::plain(head);
    by_lane(space, words[1], changed, &mut row);
    into.push(row);
    let floating = words[0] ^ words[1];
    let follows = !words[0] & words[1];
    if floating != 0 && floating == follows {
        into.push(Row::trouble(format!(
            "  nobody drives {}: after zeros it reads {}",
            lines(floating),
            digits(space, words[0])
        )));
    } else if floating != 0 {
        into.push(Row::trouble(format!(
            "  it does not hold still: {} the first time, on {}",
            digits(space, words[0]),
            lines(floating)
        )));
    }
}

fn levels(adapter: Option<&AdapterFacts>, sheet: Option<&SheetFacts>, got: LineLevels) -> Vec<Row> {
    let (data, address) = adapter.map_or((32, 32), |a| (a.data_lines, a.address_lines));
    // What the module has no pin for says nothing.
    let has = |name: String| {
        sheet.is_none_or(|sheet| {
            sheet.pins.is_empty() || sheet.pins.iter().any(|(line, _)| *line == name)
        })
    };
    let group = |letter: char, count: u8, word: u32| {
        let shown: Vec<u8> =
            (0..count.min(32)).rev().filter(|n| has(format!("{letter}{n}"))).collect();
        let mut text = String::new();
        for (n, line) in shown.iter().enumerate() {
            if n > 0 && (line + 1) % 4 == 0 {
                text.push(' ');
            }
            text.push(if word >> line & 1 == 1 { '1' } else { '0' });
        }
        let (top, low) = (shown.first().copied().unwrap_or(0), shown.last().copied().unwrap_or(0));
        Row(vec![
            (Part::Quiet, format!("{:<9}", format!("{letter}{top}-{letter}{low}"))),
            (Part::Plain, text),
        ])
    };
    let mut control = Row(vec![(Part::Quiet, format!("{:<9}", "control"))]);
    for (n, name) in adapter.map_or(&[][..], |adapter| &adapter.control).iter().enumerate() {
        let level = if got.control >> (n & 15) & 1 == 1 { "high" } else { "low" };
        control.0.push((Part::Quiet, format!("{name} ")));
        control.0.push((Part::Plain, format!("{level}  ")));
    }
    vec![group('D', data, got.data), group('A', address, got.address), control]
}

/// What a write does, with the chip by name.
pub fn told(facts: &SheetFacts, space: usize, verdict: &Verdict) -> String {
    let chip = facts.spaces.get(space).and_then(|space| space.chips.get(verdict.chip));
    verdict.told(chip.map(|(name, _)| name.as_str()))
}

/// The rows that tell an answer.
pub fn rows(
    console: &mut Console,
    adapter: Option<&AdapterFacts>,
    sheet: Option<&SheetFacts>,
    answer: &Answer,
) -> Vec<Row> {
    let none = SheetFacts::default();
    let facts = sheet.unwrap_or(&none);
    let name = |space: usize| facts.spaces.get(space).map_or("?", |space| space.name.as_str());
    let is_flash =
        |space: usize| facts.spaces.get(space).is_some_and(|space| space.kind == Kind::Flash);
    let mut out = Vec::new();
    match answer {
        Answer::Read { space, address, words } => {
            word(console, facts, (*space, address.0), *words, &mut out);
        }
        Answer::Written { space, address, value, words, does } => {
            word(console, facts, (*space, address.0), *words, &mut out);
            if let Some(does) = does {
                out.push(Row::plain(format!("  written: {}", told(facts, *space, does))));
            } else if *words == [*value; 2] {
                out.push(Row::plain("  written, and it reads back"));
            } else {
                out.push(Row::trouble(format!("  {value:X} was written and does not read back")));
            }
        }
        Answer::Held { space, address, value, data } => {
            word(console, facts, (*space, address.0), [*data; 2], &mut out);
            let what = if value.is_some() { "write" } else { "read" };
            out.push(Row::plain(format!("  this {what} is held; `let go` ends it")));
        }
        Answer::LetGo => out.push(Row::plain("nothing is held")),
        Answer::Lines(got) => out.extend(levels(adapter, sheet, *got)),
        Answer::Allowed { space, seconds, changes } => {
            let (name, is_flash) = (name(*space), is_flash(*space));
            let chips = match changes {
                Some((first, last)) => format!(", and its chips may be changed in {first}-{last}"),
                None if is_flash => ", as far as they change no chip".into(),
                None => String::new(),
            };
            out.push(Row::plain(format!(
                "writes in {name} are allowed for {seconds} s{chips}; `locked` ends it"
            )));
        }
        Answer::Asks { space, verdict, .. } => out.push(Row::trouble(format!(
            "{}. Nothing was sent: that needs leave to change chips here, `writes {} FIRST-LAST`",
            told(facts, *space, verdict),
            name(*space)
        ))),
        Answer::Locked => out.push(Row::plain("writes are locked")),
        Answer::Refused(why) => out.push(Row::trouble(why.clone())),
    }
    out
}
