//! The status line: what matters for hands, in words.

use super::plain::width;
use super::state::State;
use crate::app::workbench::{Phase, Rail};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

/// The longest way to the safe state while reading, until the job itself names one.
const STOP_MS: u64 = 3_000;

fn rail(state: &State) -> (&'static str, Style) {
    let theme = &state.look.theme;
    match state.core.rail {
        Rail::On { .. } => ("RAIL ON - do not touch", theme.danger),
        Rail::Unknown => ("RAIL NOT KNOWN - measure it before you touch the module", theme.danger),
        Rail::Off { measured: true, mv } if mv < 300 => {
            ("RAIL OFF - safe to move the module", theme.safe)
        }
        Rail::OffConfirmed => ("RAIL OFF - safe to move the module", theme.safe),
        Rail::Off { .. } => ("RAIL OFF, not measured - measure it first", theme.caution),
        Rail::NotAsked => match state.core.phase {
            _ if state.elsewhere => {
                ("RAIL NOT KNOWN - another workbench has the port", theme.danger)
            }
            Phase::Opening => ("RAIL NOT KNOWN - looking for the adapter", theme.caution),
            _ => ("NOT CONNECTED - the rail is not known", theme.caution),
        },
    }
}

/// The parts of the line, the most important first.
fn parts(state: &State) -> Vec<(String, Style)> {
    let theme = &state.look.theme;
    let (text, style) = rail(state);
    let mut parts = vec![(text.to_string(), style)];
    let stopping = state.core.stopping.or(state.stop_asked.map(|_| STOP_MS));
    if let Some(ms) = stopping.filter(|_| state.is_busy()) {
        let writes = state.core.stopping.is_none() && state.writes_a_sector();
        let text = if writes {
            "STOPPING after this sector".to_string()
        } else {
            format!("STOPPING, up to {} s", ms.div_ceil(1_000))
        };
        parts.push((text, theme.caution));
    }
    match state.leave_left() {
        Some(left) => parts.push((format!("WRITES ALLOWED {left} s"), theme.caution)),
        // What another one may write, nobody knows here.
        None if state.elsewhere && state.core.rail == Rail::NotAsked => {}
        None => parts.push(("WRITES LOCKED".into(), theme.quiet)),
    }
    if state.core.simulated || state.port.starts_with("sim") {
        parts.push(("SIMULATED BENCH".into(), theme.simulated));
    }
    parts
}

/// Draws the line.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let mut parts = parts(state);
    let room = usize::from(area.width);
    let taken = |parts: &[(String, Style)]| {
        parts.iter().map(|(text, _)| width(text) + 2).sum::<usize>() + parts.len() - 1
    };
    // Locked writes need no word where there is no room for it.
    if taken(&parts) > room
        && let Some(at) = parts.iter().position(|(text, _)| text == "WRITES LOCKED")
    {
        parts.remove(at);
    }
    if taken(&parts) > room
        && let Some(simulated) = parts.iter_mut().find(|(text, _)| text == "SIMULATED BENCH")
    {
        simulated.0 = "SIM".into();
    }
    // No word is cut as long as the blanks around the words can go; the last one needs none after it.
    let pad = if taken(&parts) > room + 1 { "" } else { " " };
    let mut line = Line::default();
    for (n, (text, style)) in parts.into_iter().enumerate() {
        if n > 0 {
            line.push_span(Span::raw(" "));
        }
        line.push_span(Span::styled(format!("{pad}{text}{pad}"), style));
    }
    frame.render_widget(Paragraph::new(line), area);
}
