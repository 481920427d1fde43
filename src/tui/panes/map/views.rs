//! The signs of the map's views, and what they mean.
//!
//! One rule for all: fill tells how sure, a letter tells trouble. Sure of what is the view's: that
//! the copy is right, or that the sector holds what the plan wants.

use crate::app::workbench::{Action, Mark, Part, Progressed};
use crate::tui::glyphs::Glyphs;
use crate::tui::state::{State, View};
use ratatui::style::Style;
use ratatui::text::{Line, Span};

/// A sign, in words and in its style.
pub type Sign = (char, &'static str, Style);

fn copied(state: &State, mark: Mark, under_way: bool) -> Sign {
    let Glyphs { not_read, under_way: going, once, agreed, .. } = state.look.glyphs;
    let theme = &state.look.theme;
    match mark {
        _ if under_way => (going, "under way", theme.half),
        Mark::NotRead => (not_read, "not read", theme.quiet),
        Mark::ReadOnce => (once, "read once", theme.half),
        Mark::Agreed => (agreed, "agreed", theme.sure),
        Mark::Unsteady => ('U', "unsteady", theme.trouble),
        Mark::Nobody => ('N', "nothing answers", theme.trouble),
    }
}

fn planned(state: &State, action: Action) -> Sign {
    let Glyphs { not_read, once, agreed, .. } = state.look.glyphs;
    let theme = &state.look.theme;
    match action {
        Action::Keep => (agreed, "kept", theme.sure),
        Action::Program => (once, "program only", theme.half),
        Action::Erase => (not_read, "erase and program", theme.trouble),
        Action::Locked => ('L', "locked", theme.trouble),
        Action::Leave => ('D', "doubtful", theme.trouble),
    }
}

fn written(state: &State, progressed: Progressed) -> Sign {
    let Glyphs { not_read, under_way, once, agreed, .. } = state.look.glyphs;
    let theme = &state.look.theme;
    match progressed {
        Progressed::Waiting => (not_read, "waiting", theme.quiet),
        Progressed::Erased => (under_way, "erased", theme.half),
        Progressed::Written => (once, "written", theme.half),
        Progressed::Verified => (agreed, "verified", theme.sure),
        Progressed::Failed => ('F', "failed", theme.trouble),
        Progressed::Doubtful => ('D', "doubtful", theme.trouble),
    }
}

/// The sign of a part of a space; the plan says nothing of parts that it does not reach.
pub fn sign(state: &State, space: usize, n: usize, part: &Part) -> Sign {
    let map = state.core.map.get(space);
    let of_plan = map.and_then(|map| map.planned.get(n));
    match (state.view(), of_plan) {
        (View::Copy, _) => copied(state, part.mark, part.under_way),
        (View::Plan, Some(one)) => planned(state, one.action),
        (View::Write, Some(one)) => {
            let in_hand = map.is_some_and(|map| map.in_hand == Some(n));
            let (sign, word, style) = written(state, one.progressed);
            (sign, if in_hand { "in hand" } else { word }, style)
        }
        (View::Plan | View::Write, None) => {
            (state.look.glyphs.dot, "not in the plan", state.look.theme.quiet)
        }
    }
}

/// All signs of the present view.
fn signs(state: &State) -> Vec<Sign> {
    match state.view() {
        View::Copy => {
            let going = copied(state, Mark::NotRead, true);
            let marks = [Mark::NotRead, Mark::ReadOnce, Mark::Agreed, Mark::Unsteady, Mark::Nobody];
            let mut signs: Vec<_> =
                marks.into_iter().map(|mark| copied(state, mark, false)).collect();
            signs.insert(1, going);
            signs
        }
        View::Plan => [Action::Keep, Action::Program, Action::Erase, Action::Locked, Action::Leave]
            .map(|action| planned(state, action))
            .to_vec(),
        View::Write => [
            Progressed::Waiting,
            Progressed::Erased,
            Progressed::Written,
            Progressed::Verified,
            Progressed::Failed,
            Progressed::Doubtful,
        ]
        .map(|progressed| written(state, progressed))
        .to_vec(),
    }
}

/// The legend, in as many lines as it needs.
pub fn legend(state: &State, room: usize) -> Vec<Line<'static>> {
    let mut lines = vec![Line::default()];
    let mut used = 0;
    for (sign, word, style) in signs(state) {
        let takes = word.len() + 4;
        if used + takes > room + 2 {
            lines.push(Line::default());
            used = 0;
        }
        used += takes;
        if let Some(line) = lines.last_mut() {
            line.push_span(Span::styled(sign.to_string(), style));
            line.push_span(Span::styled(format!(" {word}  "), state.look.theme.quiet));
        }
    }
    lines
}

/// The name of the present view for the title: the plan is the one whose sectors are shown.
pub fn name(state: &State) -> String {
    let what = match state.view() {
        View::Copy => return "copy".into(),
        View::Plan => "plan",
        View::Write => "write",
    };
    format!("{what} {}", state.core.laid.as_deref().unwrap_or_default()).trim_end().into()
}
