//! The nearer views: the blocks of a space, and the words of the copy.

use super::COLUMN;
use super::views::sign;
use crate::app::workbench::{Mark, SheetFacts, SpaceFacts};
use crate::tui::plain::fit;
use crate::tui::state::{Pane, State};
use humansize::{BINARY, format_size};
use ratatui::text::{Line, Span};

/// The zones that reach into the words from `first` to `last`, counted from the base.
pub(super) fn zones_in(
    sheet: &SheetFacts,
    space: usize,
    first: u32,
    last: u32,
) -> impl Iterator<Item = &str> {
    let base = sheet.spaces.get(space).map_or(0, |space| space.base.0);
    sheet.zones.iter().filter_map(move |zone| {
        let start = zone.start.0.wrapping_sub(base);
        let touches = zone.space == space && start <= last && start + (zone.words - 1) >= first;
        touches.then_some(zone.name.as_str())
    })
}

/// A row for each sector or block; the second value is the row of the cursor.
pub(super) fn blocks(
    state: &State,
    sheet: &SheetFacts,
    room: usize,
) -> (Vec<Line<'static>>, usize) {
    let theme = &state.look.theme;
    let index = state.map.space;
    let (Some(space), Some(map)) = (sheet.spaces.get(index), state.core.map.get(index)) else {
        return (Vec::new(), 0);
    };
    let rows = (0..map.parts()).filter_map(|n| Some((n, map.part(n)?))).map(|(block, part)| {
        let (first, last) = (part.first, part.first + (part.words - 1));
        let (sign, word, style) = sign(state, index, block, &part);
        let zones: Vec<_> = zones_in(sheet, index, first, last).collect();
        let size = format_size(u64::from(part.words) * u64::from(space.bits / 8), BINARY);
        let text = format!(" {word:<18}{size:<9} {}", zones.join(" "));
        let text = text.trim_end();
        let text = fit(text, room.saturating_sub(COLUMN + 2), state.look.glyphs.more);
        let here = block == state.map.block && state.focus == Pane::Map;
        let address = if here { theme.cursor } else { theme.quiet };
        Line::from(vec![
            Span::styled(format!("0x{:<6X} ", space.base.0 + first), address),
            Span::styled(sign.to_string(), style),
            Span::styled(text, theme.text),
        ])
    });
    (rows.collect(), state.map.block)
}

/// Words in a row, and whether their bytes are shown as text too.
pub(super) fn per_row(space: &SpaceFacts, room: usize) -> (usize, bool) {
    let (digits, bytes) = (space.bits as usize / 4, space.bits as usize / 8);
    let takes = |words: usize, text: bool| {
        COLUMN + words * (digits + 1) + if text { 1 + words * bytes } else { 0 }
    };
    for words in [16, 8, 4, 2] {
        // Sixteen bytes a row read well; more is only for those who have the room.
        if takes(words, true) <= room && words * bytes <= 32 {
            return (words, true);
        }
        if takes(words, false) <= room && words * bytes <= 16 {
            return (words, false);
        }
    }
    (1, false)
}

/// The words of the copy, as far as they were read.
pub(super) fn words(
    state: &State,
    sheet: &SheetFacts,
    room: usize,
    rows: usize,
) -> Vec<Line<'static>> {
    let theme = &state.look.theme;
    let Some(space) = sheet.spaces.get(state.map.space) else { return Vec::new() };
    let digits = space.bits as usize / 4;
    let (count, text) = per_row(space, room);
    let mut lines = Vec::new();
    for row in 0..rows {
        let first = state.map.word + (row * count) as u32;
        if first >= space.words {
            break;
        }
        let address = space.base.0 + first;
        let mut line = Line::from(Span::styled(format!("0x{address:<6X} "), theme.quiet));
        let mut signs = String::new();
        for n in 0..count {
            let offset = first + n as u32;
            if offset >= space.words {
                break;
            }
            let mark = state.mark_of(state.map.space, offset);
            let word = state.map.page.get(row * count + n).filter(|_| mark != Mark::NotRead);
            let style = match mark {
                Mark::Unsteady | Mark::Nobody => theme.trouble,
                Mark::NotRead => theme.quiet,
                Mark::ReadOnce | Mark::Agreed => theme.text,
            };
            let shown = word.map_or("-".repeat(digits), |word| format!("{word:0digits$X}"));
            line.push_span(Span::styled(format!("{shown} "), style));
            for byte in word.map_or([0; 4], |word| word.to_le_bytes()).iter().take(digits / 2) {
                let sign = char::from(*byte);
                signs.push(if sign.is_ascii_graphic() || sign == ' ' { sign } else { '.' });
            }
        }
        if text {
            line.push_span(Span::styled(format!(" {signs}"), theme.quiet));
        }
        lines.push(line);
    }
    lines
}
