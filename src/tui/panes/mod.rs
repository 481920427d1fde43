//! The four panes.

pub mod connection;
pub mod console;
pub mod log;
pub mod map;

use super::plain::width;
use super::state::{Pane, State};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

/// Draws a pane: a title over its content.
pub fn draw(state: &State, frame: &mut Frame, pane: Pane, area: Rect) {
    let focus = pane == state.focus && state.dialog.is_none();
    let more = match pane {
        Pane::Map => map::subtitle(state),
        Pane::Log => log::subtitle(state),
        Pane::Console => console::subtitle(state),
        Pane::Connection => String::new(),
    };
    title(state, frame, Rect { height: 1, ..area }, pane.title(), &more, focus);
    let inner = Rect {
        x: area.x + 1,
        y: area.y + 1,
        // Connection has the bar as its margin.
        width: area.width.saturating_sub(if pane == Pane::Connection { 1 } else { 2 }),
        height: area.height.saturating_sub(1),
    };
    match pane {
        Pane::Connection => connection::draw(state, frame, inner),
        Pane::Map => map::draw(state, frame, inner),
        Pane::Log => log::draw(state, frame, inner),
        Pane::Console => console::draw(state, frame, inner),
    }
}

fn title(state: &State, frame: &mut Frame, area: Rect, name: &str, more: &str, focus: bool) {
    let theme = &state.look.theme;
    let rule = state.look.glyphs.rule.to_string();
    let style = if focus { theme.focus } else { theme.title };
    // Readable without colour: the pane that has the keys is marked.
    let name = if focus { format!(">{name} ") } else { format!(" {name} ") };
    let room = usize::from(area.width).saturating_sub(width(&name) + 1);
    let more =
        if more.is_empty() || width(more) + 2 > room { String::new() } else { format!(" {more} ") };
    let rest = room.saturating_sub(width(&more));
    let line = Line::from(vec![
        Span::styled(rule.clone(), theme.rule),
        Span::styled(name, style),
        Span::styled(more, theme.quiet),
        Span::styled(rule.repeat(rest), theme.rule),
    ]);
    frame.render_widget(Paragraph::new(line), area);
}
