//! What messages do to the state. Nothing here reads a clock or does anything outside.

mod console;
mod map;
mod write;

pub use write::{confirm, write};

use super::dialogs::{self, Choice, Choose, Dialog};
use super::keys::{self, Action, Key};
use super::layout::shows;
use super::line_edit::LineEdit;
use super::msg::{Effect, Msg};
use super::state::{Details, Pane, State};
use crate::app::workbench::{Answer, BLANK, Command, Doing, Item, ListLine, Order, Phase, Rail};
use crate::app::{CaptureOptions, IdentifyOptions, Job};
use std::time::Duration;

/// A second stop within this time is an urgent one.
const AGAIN: Duration = Duration::from_secs(5);

/// Lets a message change the state; gives what is to be done outside.
pub fn update(state: &mut State, msg: Msg) -> Vec<Effect> {
    let effects = take(state, msg);
    write::offer(state);
    effects
}

fn take(state: &mut State, msg: Msg) -> Vec<Effect> {
    match msg {
        Msg::Tick(now) => {
            state.now = now;
            Vec::new()
        }
        Msg::Key(key) => pressed(state, key),
        Msg::Pasted(key) => pasted(state, key),
        Msg::Paste(text) => {
            paste(state, &text);
            Vec::new()
        }
        Msg::Resize(width, height) => {
            state.size = (width, height);
            Vec::new()
        }
        Msg::Core(snapshot, items) => {
            let word = map::cursor_word(state);
            let before = std::mem::replace(&mut state.core, *snapshot);
            map::clamp(state, word);
            write::follow(state, &before);
            if !state.is_busy() {
                state.stop_asked = state.stop_asked.filter(|_| state.leaving);
                if matches!(state.dialog, Some(Dialog::Quit)) {
                    state.dialog = None;
                    state.notice = Some("nothing runs any more; q ends the workbench".into());
                }
            }
            items.into_iter().flat_map(|item| heard(state, item)).collect()
        }
        Msg::Page(words) => {
            state.map.page = words;
            Vec::new()
        }
        Msg::Ports(ports) => {
            refill(state, Choice::Port, &ports);
            state.ports = ports;
            Vec::new()
        }
        Msg::Images(images) => {
            refill(state, Choice::Image, &images);
            Vec::new()
        }
        Msg::Image(name, wrong) => dialogs::found(state, &name, wrong),
        Msg::Sheet(name, wrong) => dialogs::found_sheet(state, name, wrong),
        Msg::Elsewhere(there) => {
            state.elsewhere = there.is_some();
            if let Some(Dialog::Elsewhere { there: known, .. }) = &mut state.dialog {
                *known = there;
            } else if there.is_some() {
                state.dialog = Some(Dialog::Elsewhere { there, follow: false });
            }
            Vec::new()
        }
        // The core has been told already.
        Msg::End => {
            state.leaving = true;
            state.dialog = None;
            state.after_leave = None;
            state.stop_asked = Some(state.now);
            Vec::new()
        }
    }
}

/// Rows for the list that is open, if it is that one.
fn refill(state: &mut State, what: Choice, lines: &[ListLine]) {
    if let Some(Dialog::Choose(choose)) = &mut state.dialog
        && choose.what == what
    {
        choose.refill(lines.iter().map(|of| (of.name.clone(), of.about.clone())).collect());
    }
}

fn heard(state: &mut State, item: Item) -> Vec<Effect> {
    match item {
        Item::Line(line) => {
            state.log(line);
            Vec::new()
        }
        Item::Answer(answer) => {
            let sheet = state.core.sheet.clone();
            let adapter = state.core.adapter.clone();
            let rows = super::console::rows(
                &mut state.console,
                adapter.as_ref(),
                sheet.as_deref(),
                &answer,
            );
            for row in rows {
                state.console.push(row);
            }
            console::asks(state, &answer);
            let then = state.after_leave.take();
            match (answer, then) {
                (Answer::Allowed { .. }, Some(order)) => vec![Effect::Send(Command::Order(order))],
                _ => Vec::new(),
            }
        }
    }
}

/// What is said of text that is asked for so that somebody reads the module, and was pasted.
pub const TYPE_IT: &str = "a paste is not taken: type it, with the module before you";

/// Nothing of a paste is taken; that stays said where it was to be typed.
fn not_taken(state: &mut State) {
    match &mut state.dialog {
        Some(Dialog::Confirm { wrong, .. }) => *wrong = Some(TYPE_IT.into()),
        Some(Dialog::Leave(form)) => form.refuse(TYPE_IT),
        _ => state.notice = Some(TYPE_IT.into()),
    }
}

/// A key of a burst: where Enter allows something, neither it nor the text before it is taken.
fn pasted(state: &mut State, key: Key) -> Vec<Effect> {
    let allows = state.dialog.as_ref().is_some_and(Dialog::allows);
    if allows && matches!(key, Key::Char(_) | Key::Enter) && shows(state.size) {
        not_taken(state);
        return Vec::new();
    }
    pressed(state, key)
}

fn paste(state: &mut State, text: &str) {
    if !shows(state.size) {
        return;
    }
    match &mut state.dialog {
        Some(Dialog::Choose(choose)) => {
            choose.at = choose.rows.len();
            choose.typed.paste(text);
        }
        Some(Dialog::Specimen(line)) => line.paste(text),
        Some(Dialog::Plan(form)) => form.range.paste(text),
        Some(dialog) if dialog.allows() => not_taken(state),
        None if state.focus == Pane::Console => state.console.line.paste(text),
        Some(_) | None => state.notice = Some("a paste does nothing here".into()),
    }
}

/// Where nothing can be shown, nothing is answered either: only the ways out are open.
fn unseen(state: &mut State, key: Key) -> Vec<Effect> {
    match key {
        Key::Ctrl('c') => stop(state),
        // The message asks, as the dialog would.
        Key::Char('q') if matches!(state.dialog, Some(Dialog::Quit)) => {
            dialogs::key(state, Key::Enter)
        }
        Key::Char('q') if !state.leaving => quit(state),
        _ => Vec::new(),
    }
}

fn pressed(state: &mut State, key: Key) -> Vec<Effect> {
    state.notice = None;
    if !shows(state.size) {
        return unseen(state, key);
    }
    if let Some(action) = keys::always(key) {
        return act(state, action);
    }
    if state.leaving {
        return Vec::new();
    }
    if state.dialog.is_some() {
        return dialogs::key(state, key);
    }
    if state.focus == Pane::Console
        && let Some(effects) = console::key(state, key)
    {
        return effects;
    }
    match keys::action(state.focus, key) {
        Some(action) => act(state, action),
        None => Vec::new(),
    }
}

fn act(state: &mut State, action: Action) -> Vec<Effect> {
    match action {
        Action::Stop => return stop(state),
        Action::Redraw => return vec![Effect::Redraw],
        Action::Suspend => return suspend(state),
        Action::Quit => return quit(state),
        Action::NextPane => go(state, state.focus.beside(true)),
        Action::PreviousPane => go(state, state.focus.beside(false)),
        Action::Pane(pane) => go(state, pane),
        Action::Help => state.dialog = Some(Dialog::Help { pane: state.focus, down: 0 }),
        Action::Port => return port(state),
        Action::Sheet => sheet(state),
        Action::Specimen => {
            let present = state.wanted.specimen.clone().or_else(|| state.core.specimen.clone());
            state.dialog = Some(Dialog::Specimen(LineEdit::new(&present.unwrap_or_default())));
        }
        Action::Connect => match state.core.phase {
            Phase::Ready | Phase::Opening if state.is_busy() => busy(state),
            Phase::Ready | Phase::Opening => return vec![Effect::Send(Command::Disconnect)],
            Phase::Closed | Phase::Failed(_) => return connect(state),
        },
        Action::Details => state.details = state.details.next(state.core.chips.is_empty()),
        Action::Cautions => state.dialog = Some(Dialog::cautions(None)),
        Action::Measured => measured(state),
        Action::Lines => return lines(state),
        Action::Rail => return rail(state, !matches!(state.core.rail, Rail::On { .. })),
        Action::Identify => {
            return job(state, "identify", Job::Identify(IdentifyOptions::default()));
        }
        Action::Capture => {
            return job(state, "capture", Job::Capture(CaptureOptions::default()));
        }
        Action::Verify => {
            let (image, space, range) = ("@last".to_string(), None, None);
            let accept_simulated = false;
            return job(state, "verify", Job::Verify { image, space, range, accept_simulated });
        }
        Action::Blank => return blank(state),
        Action::Plan => return write::plan(state),
        Action::Review => write::review(state),
        Action::Write => return write::write(state),
        other => match state.focus {
            Pane::Map => map::act(state, other),
            Pane::Log => scroll(state, other),
            Pane::Connection if other == Action::Leave => state.details = Details::None,
            Pane::Connection | Pane::Console => {}
        },
    }
    Vec::new()
}

/// Is what is under the cursor of the map blank?
fn blank(state: &mut State) -> Vec<Effect> {
    let Some((space, at, words)) = state.under_cursor() else {
        state.notice = Some("there is no sector or block here: c connects".into());
        return Vec::new();
    };
    let space = state.core.sheet.as_ref().and_then(|sheet| sheet.spaces.get(space));
    let job_of = Job::Verify {
        image: BLANK.into(),
        space: space.map(|space| space.name.clone()),
        range: Some(format!("{at}+0x{words:X}")),
        accept_simulated: false,
    };
    job(state, "verify", job_of)
}

fn go(state: &mut State, pane: Pane) {
    if pane == Pane::Console && state.focus != Pane::Console {
        state.before = state.focus;
    }
    state.focus = pane;
}

fn busy(state: &mut State) {
    state.notice = Some("a job runs; ^C stops it at its next safe point".into());
}

/// The one key from anywhere: to the safe state, and the rail off.
fn stop(state: &mut State) -> Vec<Effect> {
    state.dialog = None;
    state.after_leave = None;
    let late = state.stop_asked.is_some_and(|at| state.now.duration_since(at) > AGAIN);
    state.stop_asked = Some(state.now);
    if !state.is_busy() && !state.rail_may_be_on() && !state.leaving {
        state.stop_asked = None;
        state.notice = Some("nothing runs and the rail is not on; q ends the workbench".into());
    }
    if state.writes_a_sector() && !late {
        state.notice =
            Some("the sector in hand is finished first; ^C again within 5 s breaks it off".into());
    }
    // One that comes later counts as a first one again, and that was asked already.
    if late { Vec::new() } else { vec![Effect::Stop] }
}

fn suspend(state: &mut State) -> Vec<Effect> {
    if state.is_busy() || state.rail_may_be_on() {
        state.notice = Some("not while a job runs or the rail is on: ^C stops it first".into());
        return Vec::new();
    }
    vec![Effect::Suspend]
}

pub(super) fn quit(state: &mut State) -> Vec<Effect> {
    if state.is_busy() {
        state.dialog = Some(Dialog::Quit);
        return Vec::new();
    }
    state.leaving = true;
    vec![Effect::Send(Command::Quit)]
}

fn port(state: &mut State) -> Vec<Effect> {
    let rows = if state.ports.is_empty() {
        vec![("sim".to_string(), "simulated bench".to_string())]
    } else {
        state.ports.iter().map(|port| (port.name.clone(), port.about.clone())).collect()
    };
    state.dialog = Some(Dialog::Choose(Choose::new(Choice::Port, rows, &state.port)));
    vec![Effect::ListPorts]
}

fn sheet(state: &mut State) {
    let rows = state.sheets.iter().map(|name| (name.clone(), "built in".to_string())).collect();
    let present = state.wanted.sheet.clone();
    let present = present.or_else(|| state.core.sheet.as_ref().map(|sheet| sheet.name.clone()));
    let present = present.unwrap_or_default();
    state.dialog = Some(Dialog::Choose(Choose::new(Choice::Sheet, rows, &present)));
}

/// Opens the port that was chosen.
pub(super) fn connect(state: &mut State) -> Vec<Effect> {
    if state.is_busy() {
        busy(state);
        return Vec::new();
    }
    match state.port.parse() {
        Ok(port) => {
            (state.cautioned, state.elsewhere) = (false, false);
            vec![Effect::Send(Command::Connect(port, state.wanted.clone()))]
        }
        Err(_) if state.port.is_empty() => port(state),
        Err(error) => {
            let error: crate::app::PortNameError = error;
            state.notice = Some(error.to_string());
            Vec::new()
        }
    }
}

/// Another sheet or specimen: the adapter stays, everything else is found again.
pub(super) fn look_again(state: &mut State) -> Vec<Effect> {
    if state.is_busy() {
        busy(state);
        return Vec::new();
    }
    match state.core.phase {
        Phase::Ready => vec![Effect::Send(Command::Look(state.wanted.clone()))],
        _ => connect(state),
    }
}

fn measured(state: &mut State) {
    if state.is_busy() || matches!(state.core.rail, Rail::On { .. }) {
        state.notice = Some("the rail is on, or a job runs; ^C takes the rail off".into());
    } else {
        state.dialog = Some(Dialog::Measured);
    }
}

/// False, with a notice, while there is nothing to ask.
fn is_connected(state: &mut State) -> bool {
    let ready = state.core.phase == Phase::Ready;
    if !ready {
        state.notice = Some("no adapter is connected: c connects, p chooses the port".into());
    }
    ready
}

pub(super) fn lines(state: &mut State) -> Vec<Effect> {
    if !is_connected(state) {
        return Vec::new();
    }
    match state.core.doing {
        Doing::Job(_) => {
            busy(state);
            Vec::new()
        }
        _ => vec![Effect::Send(Command::Order(Order::Lines))],
    }
}

pub(super) fn rail(state: &mut State, on: bool) -> Vec<Effect> {
    match (&state.core.doing, on) {
        (Doing::Job(_), _) => {
            busy(state);
            Vec::new()
        }
        (_, false) => vec![Effect::Send(Command::RailOff)],
        (Doing::ByHand, true) => {
            state.notice = Some("the rail is on already".into());
            Vec::new()
        }
        (Doing::Nothing, true) => carefully(state, Command::RailOn),
    }
}

pub(super) fn job(state: &mut State, word: &'static str, job: Job) -> Vec<Effect> {
    if matches!(state.core.doing, Doing::Job(_)) {
        busy(state);
        return Vec::new();
    }
    carefully(state, Command::Run(word, job))
}

/// What switches the rail on comes after the cautions, once for each connection.
fn carefully(state: &mut State, command: Command) -> Vec<Effect> {
    if !is_connected(state) {
        return Vec::new();
    }
    if state.cautioned {
        return vec![Effect::Send(command)];
    }
    state.dialog = Some(Dialog::cautions(Some(Box::new(command))));
    Vec::new()
}

fn scroll(state: &mut State, action: Action) {
    let page = super::layout::areas(state.size, state.focus)
        .map_or(1, |areas| usize::from(areas.panes[Pane::Log as usize].height.max(3)) - 2);
    let most = super::panes::log::rows(state).saturating_sub(page);
    let up = &mut state.log.up;
    *up = match action {
        Action::Up => *up + 1,
        Action::Down => up.saturating_sub(1),
        Action::PageUp => *up + page,
        Action::PageDown => up.saturating_sub(page),
        Action::Home => most,
        Action::End => 0,
        _ => *up,
    }
    .min(most);
}
