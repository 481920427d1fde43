//! What keys do in the dialogs of planning and writing.

use super::plan_form::{Field, PlanForm};
use super::write_pages::{rows_of, too_small};
use super::{Choice, Dialog, scrolled};
use crate::app::workbench::Command;
use crate::app::{Job, WriteOptions};
use crate::tui::keys::Key;
use crate::tui::line_edit::LineEdit;
use crate::tui::msg::Effect;
use crate::tui::state::{State, View};
use crate::tui::update::{TYPE_IT, confirm, job, write};

/// An image was chosen.
pub fn image(state: &mut State, name: &str) -> Vec<Effect> {
    let form = PlanForm::new(name, state.core.sheet.as_deref(), state.under_cursor());
    state.asked = None;
    // Everything about the way back is known already.
    if name == crate::app::workbench::BACK {
        return job(state, "plan", Job::Plan(form.options()));
    }
    state.dialog = Some(Dialog::Plan(Box::new(form)));
    Vec::new()
}

/// What was typed was looked for.
pub fn found(state: &mut State, name: &str, wrong: Option<String>) -> Vec<Effect> {
    let Some(Dialog::Choose(choose)) = &mut state.dialog else { return Vec::new() };
    if choose.what != Choice::Image {
        return Vec::new();
    }
    if wrong.is_some() {
        choose.wrong = wrong;
        return Vec::new();
    }
    state.dialog = None;
    image(state, name)
}

pub fn form(state: &mut State, mut form: Box<PlanForm>, key: Key) -> Vec<Effect> {
    if form.wrong.is_some() && matches!(key, Key::PageUp | Key::PageDown) {
        let last = super::draw::last_down(state, &Dialog::Plan(form.clone()));
        form.down = scrolled(form.down, key).min(last);
        state.dialog = Some(Dialog::Plan(form));
        return Vec::new();
    }
    (form.wrong, form.down) = (None, 0);
    match key {
        Key::Enter => {
            form.wrong = form.range_error(state.core.sheet.as_deref());
            if form.wrong.is_none() {
                // Kept as it is, in case that the plan is refused for something in it.
                state.asked = Some(form.clone());
                return job(state, "plan", Job::Plan(form.options()));
            }
        }
        Key::Up | Key::BackTab => form.go(false),
        Key::Down | Key::Tab => form.go(true),
        key if form.field() == Field::Range => {
            form.range.key(key);
        }
        Key::Left => form.turn(false),
        Key::Right | Key::Char(' ') => form.turn(true),
        _ => {}
    }
    state.dialog = Some(Dialog::Plan(form));
    Vec::new()
}

pub fn review(state: &mut State, down: usize, key: Key) -> Vec<Effect> {
    let writes = state.core.plan_code().is_some();
    match key {
        Key::Char('w') if writes => return write(state),
        // A letter, not the key that ends every line.
        Key::Enter if writes => {}
        Key::Enter | Key::Char('e' | 'q') => return Vec::new(),
        _ => {}
    }
    let last = super::draw::last_down(state, &Dialog::Review { down });
    let down = scrolled(down, key).min(last);
    state.dialog = Some(Dialog::Review { down });
    Vec::new()
}

/// The label was typed: it must be the module's, letter by letter.
pub fn label(
    state: &mut State,
    resume: bool,
    (mut line, before): (LineEdit, Option<String>),
    key: Key,
) -> Vec<Effect> {
    if key != Key::Enter {
        line.key(key);
        state.dialog = Some(Dialog::Confirm { resume, line, wrong: None });
        return Vec::new();
    }
    // Nobody confirms what is not on the screen.
    if let Some(wrong) = too_small(state, resume) {
        state.dialog = Some(Dialog::Confirm { resume, line, wrong: None });
        state.notice = Some(wrong);
        return Vec::new();
    }
    let typed = line.text().trim().to_string();
    let (of, options) = match (resume, &state.core.plan, &state.core.unfinished) {
        (true, _, Some(unfinished)) => (unfinished.specimen.clone(), WriteOptions::Resume),
        (false, Some(plan), _) => {
            let code = plan.code.clone().unwrap_or_default();
            (plan.specimen.clone(), WriteOptions::Plan { code, confirm: typed.clone() })
        }
        _ => return Vec::new(),
    };
    if typed == of {
        state.map.view = View::Write;
        return job(state, "write", Job::Write(options));
    }
    let wrong = Some(if typed.is_empty() {
        let pasted = before.filter(|wrong| wrong == TYPE_IT);
        pasted.unwrap_or_else(|| "without the label nothing is written".into())
    } else {
        format!("this plan is for {of}, and {typed} is not that: is it the right module?")
    });
    state.dialog = Some(Dialog::Confirm { resume, line, wrong });
    Vec::new()
}

/// The row that a key goes to, and whether it is taken.
fn chosen(state: &State, dialog: &Dialog, at: usize, key: Key) -> (usize, bool) {
    let last = rows_of(state, dialog).len().saturating_sub(1);
    match key {
        Key::Enter => (at.min(last), true),
        Key::Up => (at.saturating_sub(1), false),
        Key::Down | Key::Tab => ((at + 1).min(last), false),
        _ => (at, false),
    }
}

pub fn unfinished(state: &mut State, at: usize, key: Key) -> Vec<Effect> {
    let (at, taken) = chosen(state, &Dialog::Unfinished { at }, at, key);
    if taken && state.core.unfinished.is_some() {
        confirm(state, at == 0);
    } else if !taken {
        state.dialog = Some(Dialog::Unfinished { at });
    }
    Vec::new()
}

pub fn started(state: &mut State, at: usize, key: Key) -> Vec<Effect> {
    let (at, taken) = chosen(state, &Dialog::Started { at }, at, key);
    match (taken, at) {
        (false, _) => state.dialog = Some(Dialog::Started { at }),
        (true, 0) => {}
        (true, at) => return vec![Effect::Send(Command::Started(at == 1))],
    }
    Vec::new()
}
