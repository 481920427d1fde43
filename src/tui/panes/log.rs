//! Transfer log: one calm line a transfer, the newest at the bottom.

use crate::app::workbench::{Progress, Tone};
use crate::tui::plain::{fit, wrap};
use crate::tui::state::State;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

/// The time of day and a blank.
const COLUMN: usize = 9;

/// A space's name of average length, the pass and what it does.
const LABEL: usize = 26;

/// What the title says beside the pane's name.
pub fn subtitle(state: &State) -> String {
    match state.log.up {
        0 => String::new(),
        up => format!("{up} newer below, End goes there"),
    }
}

/// Rows that all lines take in the present window.
pub fn rows(state: &State) -> usize {
    let room = usize::from(state.size.0).saturating_sub(2 + COLUMN);
    state.log.lines.iter().map(|line| wrap(&line.text, room).len()).sum()
}

/// Draws the pane.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let theme = &state.look.theme;
    let room = usize::from(area.width).saturating_sub(COLUMN);
    let live = state.core.progress.as_ref();
    let shown = usize::from(area.height).saturating_sub(usize::from(live.is_some()));
    let mut lines: Vec<Line<'static>> = Vec::new();
    let wanted = shown + state.log.up;
    // From the newest back, as many as are needed.
    for one in state.log.lines.iter().rev() {
        let style = match one.tone {
            Tone::Plain => theme.text,
            Tone::Good => theme.good,
            Tone::Trouble => theme.trouble,
        };
        for (n, text) in wrap(&one.text, room).into_iter().enumerate().rev().collect::<Vec<_>>() {
            let time = if n == 0 { one.time.as_str() } else { "" };
            lines.push(Line::from(vec![
                Span::styled(format!("{time:<COLUMN$}"), theme.quiet),
                Span::styled(text, style),
            ]));
        }
        if lines.len() >= wanted {
            break;
        }
    }
    let up = state.log.up.min(lines.len().saturating_sub(shown.min(lines.len())));
    let mut lines: Vec<_> = lines.into_iter().skip(up).take(shown).collect();
    lines.reverse();
    if let Some(progress) = live {
        lines.push(transfer(state, progress, usize::from(area.width)));
    }
    frame.render_widget(Paragraph::new(lines), area);
}

/// The transfer under way: fixed columns, so that little changes from one look to the next.
fn transfer(state: &State, progress: &Progress, room: usize) -> Line<'static> {
    let theme = &state.look.theme;
    let glyphs = &state.look.glyphs;
    let percent = (progress.done * 100).checked_div(progress.all).unwrap_or(100);
    let rate = |bytes: u64| format!("{}.{}", bytes / 1024, bytes % 1024 * 10 / 1024);
    let left = match progress.left_s {
        None => String::new(),
        Some(s) if s >= 60 => format!("{} min {:02} s left", s / 60, s % 60),
        Some(s) => format!("{s} s left"),
    };
    let rates = if progress.rate_mean == 0 {
        String::new()
    } else {
        format!("{:>5} KiB/s mean {:>5}", rate(progress.rate_now), rate(progress.rate_mean))
    };
    let tail = format!(" {percent:>3} % {rates:<22} {left:<13}");
    let label = fit(&progress.label, LABEL, glyphs.more);
    let bar = room.saturating_sub(LABEL + 1 + tail.len()).min(40);
    let done = (percent as usize * bar).div_euclid(100);
    Line::from(vec![
        Span::styled(format!("{label:<LABEL$} "), theme.title),
        Span::styled(glyphs.done.to_string().repeat(done), theme.sure),
        Span::styled(glyphs.rest.to_string().repeat(bar - done), theme.rule),
        Span::styled(
            fit(tail.trim_end(), room.saturating_sub(LABEL + 1 + bar), glyphs.more),
            theme.text,
        ),
    ])
}
