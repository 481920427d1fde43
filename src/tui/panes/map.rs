//! Memory map: every space, a sign for each sector or block, in one view at a time.

mod near;
mod views;

use crate::app::workbench::{SheetFacts, SpaceFacts, SpaceMap};
use crate::tui::layout::areas;
use crate::tui::plain::fit;
use crate::tui::state::{Pane, State, View, Zoom};
use humansize::{BINARY, format_size};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use views::{legend, sign};

/// The address before a row.
const COLUMN: usize = 9;

/// What the title says beside the pane's name.
pub fn subtitle(state: &State) -> String {
    let space = state.core.sheet.as_ref().and_then(|sheet| sheet.spaces.get(state.map.space));
    match (state.map.zoom, space) {
        (Zoom::Module, _) | (_, None) => views::name(state),
        (Zoom::Blocks, Some(space)) => {
            let map = state.core.map.get(state.map.space);
            let what = if map.is_some_and(SpaceMap::has_sectors) { "sectors" } else { "blocks" };
            format!("{}, {what} of {}", views::name(state), space.name)
        }
        (Zoom::Words, Some(space)) => format!("copy, words of {}", space.name),
    }
}

/// The pane's content in the present window.
fn inner(state: &State) -> (usize, usize) {
    let area = areas(state.size, Pane::Map).map(|areas| areas.panes[Pane::Map as usize]);
    area.map_or((50, 10), |area| {
        (usize::from(area.width).saturating_sub(2), usize::from(area.height).saturating_sub(1))
    })
}

/// Rows between title and legend.
pub fn view_rows(state: &State) -> usize {
    let (width, height) = inner(state);
    height.saturating_sub(legend(state, width).len() + 1)
}

/// Sectors or blocks in a row of the module's view.
pub fn cells_per_row(state: &State) -> usize {
    let room = inner(state).0.saturating_sub(COLUMN).max(8);
    // A power of two, so that rows begin at round addresses.
    1 << room.ilog2().min(6)
}

/// Words in a row of the view of words.
pub fn words_per_row(state: &State, space: &SpaceFacts) -> usize {
    near::per_row(space, inner(state).0).0
}

/// Draws the pane.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let room = usize::from(area.width);
    let Some(sheet) = state.core.sheet.as_deref() else {
        let text = "nothing is known of the module yet: connect, then k captures it";
        let lines: Vec<_> =
            crate::tui::plain::wrap(text, room).into_iter().map(Line::from).collect();
        frame.render_widget(Paragraph::new(lines), area);
        return;
    };
    let legend = legend(state, room);
    let shown = usize::from(area.height).saturating_sub(legend.len() + 1);
    let (lines, at) = match state.map.zoom {
        Zoom::Module => module(state, sheet, room),
        Zoom::Blocks => near::blocks(state, sheet, room),
        Zoom::Words => (near::words(state, sheet, room, shown), 0),
    };
    let skip = (at + 1).saturating_sub(shown);
    let lines: Vec<_> = lines.into_iter().skip(skip).take(shown).collect();
    frame.render_widget(Paragraph::new(lines), Rect { height: shown as u16, ..area });
    let below = Rect { y: area.y + shown as u16, height: area.height - shown as u16, ..area };
    let mut rows = vec![here(state, sheet, room)];
    rows.extend(legend);
    frame.render_widget(Paragraph::new(rows), below);
}

/// Where the cursor is, in a line.
fn here(state: &State, sheet: &SheetFacts, room: usize) -> Line<'static> {
    let space = sheet.spaces.get(state.map.space);
    let map = state.core.map.get(state.map.space);
    let (Some(space), Some(map)) = (space, map) else { return Line::default() };
    let at = match state.map.zoom {
        Zoom::Words => map.part_at(state.map.word),
        _ => state.map.block,
    };
    let Some(part) = map.part(at) else { return Line::default() };
    let (first, last) = (part.first, part.first + (part.words - 1));
    let (_, word, _) = sign(state, state.map.space, at, &part);
    let zones: Vec<_> = near::zones_in(sheet, state.map.space, first, last).collect();
    let zones = if zones.is_empty() { String::new() } else { format!(", {}", zones.join(", ")) };
    let text = format!(
        "{} 0x{:X}-0x{:X}: {word}{zones}",
        space.name,
        space.base.0 + first,
        space.base.0 + last
    );
    Line::styled(fit(&text, room, state.look.glyphs.more), state.look.theme.title)
}

/// Every space, a sign for each sector or block; the second value is the row of the cursor.
fn module(state: &State, sheet: &SheetFacts, room: usize) -> (Vec<Line<'static>>, usize) {
    let theme = &state.look.theme;
    let per_row = cells_per_row(state);
    let focus = state.focus == Pane::Map;
    let (mut lines, mut at) = (Vec::new(), 0);
    // Twice as wide where there is room for every row: easier to see.
    let longest = state.core.map.iter().map(|map| map.parts().min(per_row)).max().unwrap_or(0);
    let wide = if COLUMN + longest * 2 <= room { 2 } else { 1 };
    for (index, (space, map)) in sheet.spaces.iter().zip(&state.core.map).enumerate() {
        let bytes = u64::from(space.words) * u64::from(space.bits / 8);
        let chips: Vec<_> = space.chips.iter().map(|(name, _)| name.as_str()).collect();
        let battery = if space.battery { ", battery" } else { "" };
        let sectors = match map.has_sectors() {
            true if map.parts() == 1 => ", 1 sector".into(),
            true => format!(", {} sectors", map.parts()),
            false => String::new(),
        };
        let head = format!(
            "{}  {}, {} bits, {}{battery}{sectors}  {}",
            space.name,
            space.kind.word(),
            space.bits,
            format_size(bytes, BINARY),
            chips.join(" ")
        );
        lines.push(Line::styled(fit(&head, room, state.look.glyphs.more), theme.text));
        if state.view() != View::Copy && map.planned.is_empty() {
            let here = focus && index == state.map.space;
            if here {
                at = lines.len();
            }
            let style = if here { theme.quiet.patch(theme.cursor) } else { theme.quiet };
            lines.push(Line::styled("  not in the plan", style));
            continue;
        }
        let all: Vec<_> = (0..map.parts()).filter_map(|n| map.part(n)).collect();
        for (row, parts) in all.chunks(per_row).enumerate() {
            let first = space.base.0 + parts[0].first;
            let mut line = Line::from(Span::styled(format!("0x{first:<6X} "), theme.quiet));
            for (n, part) in parts.iter().enumerate() {
                let block = row * per_row + n;
                let (sign, _, style) = sign(state, index, block, part);
                let here = focus && index == state.map.space && block == state.map.block;
                if here {
                    at = lines.len();
                }
                let style = if here { style.patch(theme.cursor) } else { style };
                line.push_span(Span::styled(sign.to_string().repeat(wide), style));
            }
            lines.push(line);
        }
        for zone in sheet.zones.iter().filter(|zone| zone.space == index) {
            let keep = if zone.keep { ", kept" } else { "" };
            let text = format!("  zone {} {}+0x{:X}{keep}", zone.name, zone.start, zone.words);
            lines.push(Line::styled(fit(&text, room, state.look.glyphs.more), theme.quiet));
        }
    }
    (lines, at)
}
