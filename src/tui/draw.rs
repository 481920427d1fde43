//! The whole screen, from the state alone.

use super::layout::{Areas, areas};
use super::state::{Pane, State};
use super::{dialogs, panes, status, strip};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Clear, Paragraph};

/// Draws the screen.
pub fn draw(state: &State, frame: &mut Frame) {
    let whole = frame.area();
    let Some(areas) = areas((whole.width, whole.height), state.focus) else {
        let text =
            format!("{}x{}: too small to show anything, make it larger", whole.width, whole.height);
        frame.render_widget(Paragraph::new(text), whole);
        return;
    };
    ground(state, frame, whole);
    status::draw(state, frame, areas.status);
    for pane in Pane::ALL {
        let area = areas.panes[pane as usize];
        if area.height > 0 {
            panes::draw(state, frame, pane, area);
        }
    }
    frame_lines(state, frame, &areas);
    if state.dialog.is_some() {
        dialogs::draw(state, frame, areas.middle);
    }
    strip::draw(state, frame, areas.strip);
}

fn frame_lines(state: &State, frame: &mut Frame, areas: &Areas) {
    let look = &state.look;
    if let Some(bar) = areas.bar {
        let sign = look.glyphs.bar.to_string();
        let rows: Vec<_> =
            (0..bar.height).map(|_| Line::styled(sign.clone(), look.theme.rule)).collect();
        frame.render_widget(Paragraph::new(rows), bar);
    }
    if let Some(tabs) = areas.tabs {
        let mut line = Line::default();
        for (n, pane) in Pane::ALL.into_iter().enumerate() {
            let focus = pane == state.focus;
            let style = if focus { look.theme.focus } else { look.theme.title };
            // The one that is shown has its whole name.
            let name = if focus { pane.title() } else { short(pane) };
            line.push_span(Span::styled(format!(" {} {name} ", n + 1), style));
        }
        frame.render_widget(Paragraph::new(line), tabs);
    }
}

fn short(pane: Pane) -> &'static str {
    match pane {
        Pane::Connection => "Conn",
        Pane::Map => "Map",
        Pane::Log => "Log",
        Pane::Console => "Bus",
    }
}

/// Clears `area`, as a dialog needs it.
pub fn clear(state: &State, frame: &mut Frame, area: Rect) {
    frame.render_widget(Clear, area);
    ground(state, frame, area);
}

/// What stands behind all text: a theme may not leave it to the terminal.
fn ground(state: &State, frame: &mut Frame, area: Rect) {
    frame.buffer_mut().set_style(area, state.look.theme.text);
}
