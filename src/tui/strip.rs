//! The key strip: the pane's own keys in one line, those of the work in the other.

use super::dialogs::{Dialog, last_down, too_small};
use super::keys::{ALWAYS, Action, Binding, PANES, Stage, WORK, table};
use super::plain::{fit, width};
use super::state::{Pane, State};
use crate::app::workbench::{Doing, Mark, Progressed, SpaceMap};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

/// A row of keys that grows while there is room.
struct Row<'a> {
    state: &'a State,
    line: Line<'static>,
    left: usize,
}

impl<'a> Row<'a> {
    fn new(state: &'a State, room: u16) -> Self {
        let line = Line::from(" ");
        Self { state, line, left: usize::from(room).saturating_sub(1) }
    }

    /// Adds a key with its word, if there is room for both.
    fn key(&mut self, name: &str, word: &str) {
        let takes = width(name) + width(word) + 3;
        if word.is_empty() || takes > self.left + 2 {
            return;
        }
        self.left = self.left.saturating_sub(takes);
        let theme = &self.state.look.theme;
        self.line.push_span(Span::styled(name.to_string(), theme.key));
        self.line.push_span(Span::styled(format!(" {word}  "), theme.text));
    }

    fn binding(&mut self, row: &Binding) {
        self.key(row.name, row.word);
    }

    fn head(&mut self, text: &str) {
        let takes = width(text) + 1;
        if takes <= self.left {
            self.left -= takes;
            let style = self.state.look.theme.quiet;
            self.line.push_span(Span::styled(format!("{text} "), style));
        }
    }

    fn draw(self, frame: &mut Frame, area: Rect) {
        frame.render_widget(Paragraph::new(self.line), area);
    }
}

fn takes(row: &Binding) -> usize {
    width(row.name) + width(row.word) + 3
}

/// The keys of a stage that do something now.
fn keys_of(state: &State, of: Stage) -> impl Iterator<Item = &'static Binding> {
    let plan = state.core.plan.is_some();
    let writes = state.core.plan_code().is_some() || state.core.unfinished.is_some();
    WORK.iter().filter(move |one| one.stage == Some(of)).filter(move |one| match one.action {
        Action::Review => plan,
        Action::Write => writes,
        _ => true,
    })
}

/// The stage that the work has come to.
fn present(state: &State) -> Stage {
    let core = &state.core;
    let mut parts = core.map.iter().flat_map(|map| &map.planned);
    let agreed = |map: &SpaceMap| map.cells.iter().any(|cell| cell.mark == Mark::Agreed);
    match core.doing {
        Doing::Job("write") => return Stage::Write,
        Doing::Job("plan") => return Stage::Plan,
        Doing::Job("verify") => return Stage::Prove,
        Doing::Job("capture") => return Stage::Keep,
        _ => {}
    }
    if core.unfinished.is_some() || core.plan_code().is_some() {
        Stage::Write
    } else if parts.any(|part| part.progressed == Progressed::Verified) {
        Stage::Prove
    } else if core.map.iter().any(agreed) || core.plan.is_some() {
        Stage::Plan
    } else {
        Stage::Look
    }
}

/// All stages in the order of the work; where there is no room for all, from the present one on.
fn stages(state: &State, room: usize) -> Vec<Stage> {
    let all = Stage::ALL;
    let whole: usize = all
        .iter()
        .map(|stage| {
            let keys: usize = keys_of(state, *stage).map(takes).sum();
            if keys == 0 { 0 } else { keys + width(stage.name()) + 1 }
        })
        .sum();
    let mut stages = all.to_vec();
    if whole > room + 2 {
        let present = present(state);
        stages.rotate_left(all.iter().position(|stage| *stage == present).unwrap_or(0));
    }
    stages
}

/// Draws both lines.
pub fn draw(state: &State, frame: &mut Frame, [upper, lower]: [Rect; 2]) {
    let theme = &state.look.theme;
    if let Some(notice) = &state.notice {
        let text = fit(notice, usize::from(upper.width).saturating_sub(2), state.look.glyphs.more);
        frame.render_widget(Paragraph::new(Line::styled(format!(" {text}"), theme.trouble)), upper);
    } else {
        own(state, upper).draw(frame, upper);
    }
    let mut row = Row::new(state, lower.width);
    // What stops is always there, so it comes first.
    for always in ALWAYS {
        row.binding(always);
    }
    if state.dialog.is_none() && state.focus != Pane::Console {
        for stage in stages(state, row.left) {
            let mut keys = keys_of(state, stage).peekable();
            let Some(first) = keys.peek() else { continue };
            // A head without its keys says nothing, and a stage is not passed over.
            if width(stage.name()) + takes(first) >= row.left + 3 {
                break;
            }
            row.head(stage.name());
            keys.for_each(|one| row.binding(one));
        }
    } else if state.dialog.is_none() {
        row.key("help", "lists the lines");
        row.key("+ -", "step the address");
    }
    row.draw(frame, lower);
}

fn own(state: &State, area: Rect) -> Row<'_> {
    let mut row = Row::new(state, area.width);
    let Some(dialog) = &state.dialog else {
        for one in table(state.focus) {
            row.binding(one);
        }
        if state.focus != Pane::Console {
            WORK.iter().filter(|one| one.stage.is_none()).for_each(|one| row.binding(one));
            for one in PANES {
                row.binding(one);
            }
        }
        return row;
    };
    let keys: &[(&str, &str)] = match dialog {
        Dialog::Choose(_) => {
            &[("Enter", "takes it"), ("Up Down", "choose, or type a name"), ("Esc", "back")]
        }
        Dialog::Specimen(_) => &[("Enter", "takes it"), ("Esc", "back")],
        Dialog::Cautions { down, .. } if *down < last_down(state, dialog) => {
            &[("Enter", "next page"), ("Esc", "back")]
        }
        Dialog::Cautions { then: Some(_), .. } => &[("Enter", "read, go on"), ("Esc", "back")],
        Dialog::Cautions { then: None, .. } => &[("Enter", "read"), ("Esc", "back")],
        Dialog::Leave(_) => {
            &[("Enter", "takes the word"), ("Left Right", "time"), ("Esc", "stay locked")]
        }
        Dialog::Measured => &[("Enter", "yes, below 300 mV"), ("Esc", "no")],
        Dialog::Quit => &[("Enter", "stop, rail off, end"), ("Esc", "stay")],
        Dialog::Help { .. } => &[("Up Down", "scroll"), ("Esc", "back")],
        Dialog::Plan(form) if form.wrong.is_some() => {
            &[("Enter", "plans it"), ("PgUp PgDn", "scroll"), ("Esc", "back")]
        }
        Dialog::Plan(_) => {
            &[("Enter", "plans it"), ("Up Down Left Right", "choose"), ("Esc", "back")]
        }
        Dialog::Review { .. } if state.core.plan_code().is_none() => {
            &[("Enter", "read"), ("Up Down", "scroll")]
        }
        Dialog::Review { .. } => {
            &[("w", "write, asks once more"), ("Up Down PgUp PgDn", "scroll"), ("Esc", "back")]
        }
        Dialog::Confirm { resume, .. } if too_small(state, *resume).is_some() => {
            &[("Esc", "back, nothing is written")]
        }
        Dialog::Confirm { .. } => &[("Enter", "writes it"), ("Esc", "back, nothing is written")],
        Dialog::Unfinished { .. } => {
            &[("Enter", "asks for the label"), ("Up Down", "choose"), ("Esc", "later")]
        }
        Dialog::WriteEnd => &[("Enter", "read")],
        Dialog::Started { .. } => &[("Enter", "takes it"), ("Up Down", "choose"), ("Esc", "later")],
        Dialog::Elsewhere { there: Some(_), .. } => {
            &[("f", "follow"), ("s", "stop it safely"), ("Esc", "leave it alone")]
        }
        Dialog::Elsewhere { there: None, .. } => &[("Enter", "connect"), ("Esc", "back")],
    };
    for (name, word) in keys {
        row.key(name, word);
    }
    row
}
