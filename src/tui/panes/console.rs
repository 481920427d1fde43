//! Bus console: what was said and answered, over the line that is typed.

use crate::tui::console::{Part, Row};
use crate::tui::layout::areas;
use crate::tui::plain::{plain, width, wrap};
use crate::tui::state::{Pane, State};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

fn style(state: &State, part: Part) -> Style {
    let theme = &state.look.theme;
    match part {
        Part::Said => theme.title,
        Part::Plain => theme.text,
        Part::Quiet => theme.quiet,
        Part::Changed => theme.changed,
        Part::Trouble => theme.trouble,
    }
}

/// Rows that all of it takes in the present window, and how many are seen.
pub fn room(state: &State) -> (usize, usize) {
    let height = areas(state.size, Pane::Console)
        .map_or(2, |areas| usize::from(areas.panes[Pane::Console as usize].height));
    let width = usize::from(state.size.0).saturating_sub(2);
    let rows = state.console.rows.iter().map(|row| lines(state, row, width).len()).sum();
    (rows, height.saturating_sub(2).max(1))
}

/// What the title says beside the pane's name: what is out of sight, or the cycle that stands.
pub fn subtitle(state: &State) -> String {
    if state.console.up > 0 {
        return format!("{} newer below, PgDn goes there", state.console.up);
    }
    let held = state.core.held;
    let spaces = state.core.sheet.as_ref().map_or(&[][..], |sheet| &sheet.spaces);
    held.and_then(|held| Some((held, spaces.get(held.space)?))).map_or_else(
        String::new,
        |(held, space)| {
            let what = if held.value.is_some() { "write" } else { "read" };
            format!("a {what} of {} {:X} is held", space.name, held.address.0)
        },
    )
}

/// The lines of a row: a sentence is wrapped, a listing is cut.
fn lines(state: &State, row: &Row, room: usize) -> Vec<Line<'static>> {
    if let [(part, text)] = &row.0[..] {
        let style = style(state, *part);
        return wrap(text, room).into_iter().map(|text| Line::styled(text, style)).collect();
    }
    let mut out = vec![Line::default()];
    let mut used = 0;
    for (part, text) in &row.0 {
        let text = plain(text);
        let takes = width(&text);
        if used + takes > room && used > 0 {
            out.push(Line::from("  "));
            used = 2;
        }
        used += takes;
        if let Some(line) = out.last_mut() {
            line.push_span(Span::styled(text, style(state, *part)));
        }
    }
    out
}

/// Draws the pane.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let room = usize::from(area.width);
    let shown = usize::from(area.height).saturating_sub(1);
    let mut rows: Vec<Line<'static>> = Vec::new();
    for row in state.console.rows.iter().rev() {
        rows.extend(lines(state, row, room).into_iter().rev());
        if rows.len() >= shown + state.console.up {
            break;
        }
    }
    let up = state.console.up.min(rows.len().saturating_sub(shown));
    rows.drain(..up);
    rows.truncate(shown);
    rows.reverse();
    let typed = Rect { y: area.y + rows.len() as u16, height: 1.min(area.height), ..area };
    frame.render_widget(Paragraph::new(rows), Rect { height: shown as u16, ..area });
    let focus = state.focus == Pane::Console && state.dialog.is_none();
    let theme = &state.look.theme;
    frame.render_widget(Paragraph::new(Line::styled("> ", theme.key)), typed);
    let edit = Rect { x: typed.x + 2, width: typed.width.saturating_sub(2), ..typed };
    if focus || !state.console.line.is_empty() {
        frame.render_widget(&state.console.line.area(focus), edit);
    } else {
        let hint = "4 goes here: store 1F00 ?   rail on   lines ?   help";
        frame.render_widget(Paragraph::new(Line::styled(hint, theme.quiet)), edit);
    }
}
