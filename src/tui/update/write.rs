//! Planning and writing: what is asked for, and what is offered by itself.

use super::{busy, is_connected};
use crate::app::workbench::{Doing, Snapshot};
use crate::tui::dialogs::{Choice, Choose, Dialog};
use crate::tui::line_edit::LineEdit;
use crate::tui::msg::Effect;
use crate::tui::state::{Pane, State, View};
use std::sync::Arc;

/// Which image is to be planned?
pub(super) fn plan(state: &mut State) -> Vec<Effect> {
    if matches!(state.core.doing, Doing::Job(_)) {
        busy(state);
        return Vec::new();
    }
    if !is_connected(state) {
        return Vec::new();
    }
    state.dialog = Some(Dialog::Choose(Choose::new(Choice::Image, Vec::new(), "")));
    vec![Effect::ListImages]
}

/// The plan to be read.
pub(super) fn review(state: &mut State) {
    if state.core.plan.is_some() {
        state.dialog = Some(Dialog::Review { down: 0 });
    } else {
        state.notice = Some("there is no plan yet; n makes one".into());
    }
}

/// To the last question before a plan is written, or a write is gone on with.
pub fn write(state: &mut State) -> Vec<Effect> {
    if matches!(state.core.doing, Doing::Job(_)) {
        busy(state);
        return Vec::new();
    }
    if !is_connected(state) {
        return Vec::new();
    }
    let code = state.core.plan.as_ref().map(|plan| plan.code.is_some());
    match (code, state.core.unfinished.is_some()) {
        (Some(true), true) => state.dialog = Some(Dialog::Unfinished { at: 1 }),
        (_, true) => state.dialog = Some(Dialog::Unfinished { at: 0 }),
        (Some(true), false) => confirm(state, false),
        (Some(false), false) => {
            state.notice = Some("nothing is to be written: the module holds that already".into());
        }
        (None, false) => state.notice = Some("there is no plan to write yet; n makes one".into()),
    }
    Vec::new()
}

/// Asks for the label.
pub fn confirm(state: &mut State, resume: bool) {
    state.dialog = Some(Dialog::Confirm { resume, line: LineEdit::default(), wrong: None });
}

/// Follows what the core has come to.
pub(super) fn follow(state: &mut State, before: &Snapshot) {
    let core = &state.core;
    if core.doing != before.doing {
        match core.doing {
            Doing::Job("write") => state.map.view = View::Write,
            Doing::Job("capture" | "plan" | "identify") => state.map.view = View::Copy,
            _ => {}
        }
    }
    if let Some(plan) = &core.plan
        && before.plan.as_ref().is_none_or(|known| !Arc::ptr_eq(known, plan))
    {
        state.map.view = View::Plan;
        if let Some(Dialog::Review { down }) = &mut state.dialog {
            *down = 0;
        } else {
            state.offers.review = true;
        }
    }
    if let Some(why) = &core.plan_refused
        && before.plan_refused.as_ref().is_none_or(|known| !Arc::ptr_eq(known, why))
        && let Some(form) = &mut state.asked
    {
        form.wrong = Some(why.to_string());
        state.offers.form = true;
    }
    if let Some(end) = &core.write_end
        && before.write_end.as_ref().is_none_or(|known| !Arc::ptr_eq(known, end))
    {
        match end.code {
            // Who has stopped it knows that.
            130 => state.notice = Some(stopped(core)),
            _ => state.offers.end = true,
        }
    }
    if core.looks != before.looks {
        state.offers.unfinished = core.unfinished.is_some();
        state.offers.started = core.unanswered.is_some();
    }
}

/// What is said of a write that was stopped.
fn stopped(core: &Snapshot) -> String {
    let how = match &core.unfinished {
        Some(unfinished) if unfinished.is_unproven() => "written, but not yet proven",
        _ => "not finished",
    };
    format!("the write is {how}: w goes on with it")
}

/// Opens what is offered by itself, one after the other, where nobody is at something else.
pub(super) fn offer(state: &mut State) {
    if state.dialog.is_some() || state.is_busy() || state.leaving || !state.offers.any() {
        return;
    }
    // Keys that were meant for a line must not fall into a dialog, whenever that line ends.
    if state.focus != Pane::Console {
        state.offers.held = false;
    } else if state.offers.held {
        return;
    } else if !state.console.line.is_empty() {
        state.offers.held = true;
        state.notice =
            Some("there is something to read: it opens once you leave the console".into());
        return;
    }
    if std::mem::take(&mut state.offers.form)
        && let Some(form) = state.asked.take()
    {
        state.dialog = Some(Dialog::Plan(form));
    } else if std::mem::take(&mut state.offers.end) && state.core.write_end.is_some() {
        state.dialog = Some(Dialog::WriteEnd);
    } else if std::mem::take(&mut state.offers.unfinished) && state.core.unfinished.is_some() {
        state.map.view = View::Write;
        state.dialog = Some(Dialog::Unfinished { at: 0 });
    } else if std::mem::take(&mut state.offers.started) && state.core.unanswered.is_some() {
        state.dialog = Some(Dialog::Started { at: 0 });
    } else if std::mem::take(&mut state.offers.review) && state.core.plan.is_some() {
        state.dialog = Some(Dialog::Review { down: 0 });
    }
}
