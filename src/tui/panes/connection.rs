//! Connection: port, adapter, voltages, sheet, specimen, link.

use crate::app::workbench::{ChipFacts, Phase, Rail};
use crate::tui::plain::{fit, plain, wrap};
use crate::tui::state::{Details, State};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

const COLUMN: usize = 9;

fn volts(mv: u16, measured: bool) -> String {
    // Steps of 50 mV: a digit that trembles tells nothing.
    let mv = (u32::from(mv) + 25) / 50 * 50;
    let how = if measured { "measured" } else { "declared" };
    format!("{mv} mV {how}")
}

/// The rows, where `room` of them are to be seen.
fn facts(state: &State, room: usize) -> Vec<(&'static str, String, Style)> {
    let core = &state.core;
    let theme = &state.look.theme;
    let (text, quiet) = (theme.text, theme.quiet);
    let port = if core.port.is_empty() { &state.port } else { &core.port };
    let port = if port.is_empty() { "none, p chooses one".to_string() } else { port.clone() };
    let mut rows = vec![("port", port, text)];
    if let Some(adapter) = &core.adapter {
        rows.push(("adapter", adapter.board.clone(), text));
        let rate = adapter.baud.map_or("no rate".into(), |baud| format!("{baud} baud"));
        rows.push(("rate", rate, text));
        let rail = match core.rail {
            Rail::On { mv, measured } => volts(mv, measured),
            // As it was measured once: rounded up it could stand at the limit of what is safe.
            Rail::Off { mv, measured: true } => format!("off {mv} mV measured"),
            Rail::Off { mv, .. } => format!("off {}", volts(mv, false)),
            Rail::OffConfirmed => "off, by your meter".into(),
            _ => format!("{} mV wanted", adapter.rail_mv),
        };
        rows.push(("rail", rail, text));
        rows.push(("I/O", volts(adapter.io_mv, adapter.io_measured), text));
    } else {
        let what = match &core.phase {
            Phase::Closed => "none, c connects",
            Phase::Opening => "looking for it",
            Phase::Ready => "connected",
            Phase::Failed(_) => "none, see the log",
        };
        rows.push(("adapter", what.into(), quiet));
    }
    let sheet = core.sheet.as_ref().map(|sheet| sheet.name.clone());
    let none = |what: &str| format!("none, {what} names it");
    rows.push(("sheet", sheet.unwrap_or_else(|| none("s")), text));
    let specimen = core.specimen.clone().or_else(|| state.wanted.specimen.clone());
    rows.push(("specimen", specimen.unwrap_or_else(|| none("m")), text));
    let (link, style) = match core.link {
        None => ("not used yet", quiet),
        Some(link) if link.frames_received == 0 => ("no answer", theme.trouble),
        Some(link) => (link.word(), text),
    };
    rows.push(("link", link.into(), style));
    rows.push(("lines", "not checked".into(), quiet));
    for (n, (said, known)) in chips(state, room.saturating_sub(rows.len())).into_iter().enumerate()
    {
        let head = if n == 0 { "chips" } else { "" };
        rows.push((head, said, if known { text } else { quiet }));
    }
    rows
}

/// The chips in at most `room` rows, but one at least: as they were identified, or as the sheet
/// says until then.
fn chips(state: &State, room: usize) -> Vec<(String, bool)> {
    let spaces = state.core.sheet.as_ref().map_or(&[][..], |sheet| &sheet.spaces);
    if state.core.chips.is_empty() {
        return match spaces.iter().map(|space| space.chips.len()).sum() {
            0_usize => vec![("not known".into(), false)],
            n => vec![(format!("{n} by the sheet"), false)],
        };
    }
    let groups = groups(&state.core.chips);
    let mut rows: Vec<_> = groups.iter().map(|group| (short(group), true)).collect();
    if rows.len() > room.max(1) {
        rows.truncate(room.max(1));
        let more = groups.len() - rows.len();
        if let Some((last, _)) = rows.last_mut() {
            *last = format!("{last}, {more} more: d");
        }
    }
    rows
}

/// Chips that are the same, side by side.
fn groups(chips: &[ChipFacts]) -> Vec<&[ChipFacts]> {
    chips.chunk_by(|a, b| a.what == b.what).collect()
}

fn names(group: &[ChipFacts]) -> String {
    group.iter().map(|chip| chip.reference.as_str()).collect::<Vec<_>>().join(" ")
}

fn short(group: &[ChipFacts]) -> String {
    format!("{} {}", names(group), group.first().map_or("", |chip| chip.part.as_str()))
}

/// Every chip with what is known of it, in words.
fn found(state: &State, room: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for group in groups(&state.core.chips) {
        let Some(first) = group.first() else { continue };
        let sectors = match first.sectors {
            0 => String::new(),
            1 => ", 1 sector".into(),
            n => format!(", {n} sectors"),
        };
        lines.extend(wrap(&plain(&format!("{}: {}{sectors}", names(group), first.what)), room));
    }
    lines.push("d shows the link".into());
    lines
}

fn details(state: &State) -> Vec<String> {
    let Some(link) = state.core.link else { return vec!["nothing was counted yet".into()] };
    let firmware = state.core.adapter.as_ref().map_or("", |adapter| adapter.firmware.as_str());
    vec![
        format!("firmware  {}", plain(firmware)),
        format!("sent      {} frames", link.frames_sent),
        format!("again     {}", link.repeats),
        format!("late      {}", link.timeouts),
        format!("damaged   {}", link.frames_damaged),
        format!("stray     {}", link.frames_stray),
        format!("bytes out {}", link.bytes_sent),
        format!("bytes in  {}", link.bytes_received),
        "d goes back".into(),
    ]
}

/// Draws the pane.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let room = usize::from(area.width);
    let more = state.look.glyphs.more;
    let said = match state.details {
        Details::None => Vec::new(),
        Details::Chips => found(state, room),
        Details::Link => details(state),
    };
    if !said.is_empty() {
        let lines: Vec<_> =
            said.into_iter().map(|text| Line::from(fit(&text, room, more))).collect();
        frame.render_widget(Paragraph::new(lines), area);
        return;
    }
    let mut lines: Vec<_> = facts(state, usize::from(area.height))
        .into_iter()
        .map(|(head, text, style)| {
            let text = fit(&plain(&text), room.saturating_sub(COLUMN), more);
            Line::from(vec![
                Span::styled(format!("{head:<COLUMN$}"), state.look.theme.quiet),
                Span::styled(text, style),
            ])
        })
        .collect();
    if let Phase::Failed(why) = &state.core.phase {
        let style = state.look.theme.trouble;
        lines.extend(wrap(why, room).into_iter().map(|text| Line::styled(text, style)));
    }
    frame.render_widget(Paragraph::new(lines), area);
}
