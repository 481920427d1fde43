//! What keys do in a dialog.

use super::{Choice, Dialog, leave, write_keys};
use crate::app::workbench::{Command, label_error};
use crate::tui::keys::Key;
use crate::tui::msg::Effect;
use crate::tui::state::State;
use crate::tui::update::{connect, look_again};

/// Gives a key to the dialog that is open. It is put back unless it has come to its end.
pub fn key(state: &mut State, key: Key) -> Vec<Effect> {
    let Some(dialog) = state.dialog.take() else { return Vec::new() };
    if key == Key::Esc {
        return Vec::new();
    }
    match dialog {
        Dialog::Choose(choose) => chosen(state, choose, key),
        Dialog::Specimen(mut line) => {
            if key != Key::Enter {
                line.key(key);
                state.dialog = Some(Dialog::Specimen(line));
                return Vec::new();
            }
            let text = line.text().trim().to_string();
            if let Some(wrong) = label_error(&text).filter(|_| !text.is_empty()) {
                state.notice = Some(wrong);
                state.dialog = Some(Dialog::Specimen(line));
                return Vec::new();
            }
            state.wanted.specimen = Some(text).filter(|text| !text.is_empty());
            look_again(state)
        }
        Dialog::Cautions { then, down } => cautions(state, then, down, key),
        Dialog::Leave(form) => leave::key(state, form, key),
        Dialog::Measured => {
            if key == Key::Enter {
                return vec![Effect::Send(Command::RailMeasured)];
            }
            state.dialog = Some(Dialog::Measured);
            Vec::new()
        }
        Dialog::Quit => {
            if key == Key::Enter {
                state.leaving = true;
                state.stop_asked = Some(state.now);
                return vec![Effect::Stop, Effect::Send(Command::Quit)];
            }
            state.dialog = Some(Dialog::Quit);
            Vec::new()
        }
        Dialog::Help { pane, down } => {
            if matches!(key, Key::Enter | Key::Char('?' | 'q')) {
                return Vec::new();
            }
            // Drawing stops at the end; so must counting.
            let last = super::draw::last_down(state, &Dialog::Help { pane, down });
            let down = scrolled(down, key).min(last);
            state.dialog = Some(Dialog::Help { pane, down });
            Vec::new()
        }
        Dialog::Plan(form) => write_keys::form(state, form, key),
        Dialog::Review { down } => write_keys::review(state, down, key),
        Dialog::Confirm { resume, line, wrong } => {
            write_keys::label(state, resume, (line, wrong), key)
        }
        Dialog::Unfinished { at } => write_keys::unfinished(state, at, key),
        Dialog::WriteEnd => {
            if key != Key::Enter {
                state.dialog = Some(Dialog::WriteEnd);
            }
            Vec::new()
        }
        Dialog::Started { at } => write_keys::started(state, at, key),
        Dialog::Elsewhere { there, follow } => elsewhere(state, there, follow, key),
    }
}

/// Where a long text is after a key.
pub fn scrolled(down: usize, key: Key) -> usize {
    match key {
        Key::Down => down + 1,
        Key::Up => down.saturating_sub(1),
        Key::PageDown => down + 8,
        Key::PageUp => down.saturating_sub(8),
        Key::Home => 0,
        Key::End => usize::MAX,
        _ => down,
    }
}

/// Nobody has read what was not on the screen: until the end is, Enter shows the next page.
fn cautions(state: &mut State, then: Option<Box<Command>>, down: usize, key: Key) -> Vec<Effect> {
    let here = Dialog::Cautions { then, down };
    let last = super::draw::last_down(state, &here);
    let Dialog::Cautions { then, .. } = here else { return Vec::new() };
    if key == Key::Enter && down >= last {
        return then.map_or_else(Vec::new, |then| {
            state.cautioned = true;
            vec![Effect::Send(*then)]
        });
    }
    let page = super::draw::shown_of(state).max(1);
    let down = if key == Key::Enter { down + page } else { scrolled(down, key) };
    state.dialog = Some(Dialog::Cautions { then, down: down.min(last) });
    Vec::new()
}

fn chosen(state: &mut State, mut choose: super::Choose, key: Key) -> Vec<Effect> {
    match key {
        Key::Up => choose.at = choose.at.saturating_sub(1),
        Key::Down | Key::Tab => choose.at = (choose.at + 1).min(choose.rows.len()),
        Key::Enter if choose.name().is_empty() => {
            choose.wrong = Some("name one, or go up to one of the list".into());
        }
        Key::Enter => {
            let name = choose.name().to_string();
            match choose.what {
                // It stays open until it is known that there is one.
                Choice::Image if choose.is_typed() => {
                    state.dialog = Some(Dialog::Choose(choose));
                    return vec![Effect::FindImage(name)];
                }
                Choice::Image => return write_keys::image(state, &name),
                // What is open stays open until it is known that there is one.
                Choice::Sheet if choose.is_typed() => {
                    state.dialog = Some(Dialog::Choose(choose));
                    return vec![Effect::FindSheet(name)];
                }
                Choice::Sheet => return sheet(state, name),
                Choice::Port => match name.parse::<crate::app::PortName>() {
                    Ok(_) => {
                        state.port = name;
                        return connect(state);
                    }
                    Err(error) => choose.wrong = Some(error.to_string()),
                },
            }
        }
        other => {
            if !choose.is_typed() && matches!(other, Key::Char(_)) {
                choose.at = choose.rows.len();
            }
            choose.typed.key(other);
            choose.wrong = None;
        }
    }
    state.dialog = Some(Dialog::Choose(choose));
    Vec::new()
}

/// A sheet was chosen that there is. While something runs it is not kept for later either.
fn sheet(state: &mut State, name: String) -> Vec<Effect> {
    if !state.is_busy() {
        state.wanted.sheet = Some(name);
    }
    look_again(state)
}

/// A sheet that was typed was looked for.
pub fn found_sheet(state: &mut State, name: String, wrong: Option<String>) -> Vec<Effect> {
    let Some(Dialog::Choose(choose)) = &mut state.dialog else { return Vec::new() };
    if choose.what != Choice::Sheet {
        return Vec::new();
    }
    if wrong.is_some() {
        choose.wrong = wrong;
        return Vec::new();
    }
    state.dialog = None;
    sheet(state, name)
}

fn elsewhere(
    state: &mut State,
    there: Option<crate::app::workbench::Elsewhere>,
    follow: bool,
    key: Key,
) -> Vec<Effect> {
    let (follow, effects) = match key {
        Key::Enter if there.is_none() => return connect(state),
        Key::Char('f') => (true, Vec::new()),
        Key::Char('s') if there.is_some() => (true, vec![Effect::StopElsewhere]),
        _ => (follow, Vec::new()),
    };
    state.dialog = Some(Dialog::Elsewhere { there, follow });
    effects
}
