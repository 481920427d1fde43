//! Keys and lines of the bus console.

use super::{lines, quit, rail};
use crate::app::workbench::{Answer, Command, Doing, Leave, Order, SheetFacts};
use crate::bus::WordAddress;
use crate::chips::Act;
use crate::module::Kind;
use crate::tui::console::grammar::{Ask, Cycle, complete, parse};
use crate::tui::console::{Row, told};
use crate::tui::dialogs::{Dialog, LeaveForm};
use crate::tui::keys::{Action, Key, action};
use crate::tui::line_edit::LineEdit;
use crate::tui::msg::Effect;
use crate::tui::panes::console::room;
use crate::tui::state::{Pane, State};

/// How long leave is offered for, in seconds.
const SECONDS: u16 = 60;

/// Takes a key in the console; `None` if it means something to all panes.
pub(super) fn key(state: &mut State, key: Key) -> Option<Vec<Effect>> {
    let empty = state.console.line.is_empty();
    match (action(Pane::Console, key), key) {
        (Some(Action::Run), _) => return Some(run(state)),
        (Some(Action::Back), _) => state.console.call_back(true),
        (Some(Action::On), _) => state.console.call_back(false),
        (Some(action @ (Action::PageUp | Action::PageDown)), _) => scroll(state, action),
        (Some(Action::Complete), _) if empty => state.focus = state.focus.beside(true),
        (Some(Action::Complete), _) => {
            let before = state.console.line.before_cursor();
            match complete(&before, state.core.sheet.as_deref()) {
                Ok(rest) => state.console.line.paste_whole(&rest),
                Err(many) if many.is_empty() => {}
                Err(many) => state.notice = Some(many.join("  ")),
            }
        }
        (Some(Action::Leave), _) if empty => state.focus = state.before,
        (Some(Action::Leave), _) => state.console.line = LineEdit::default(),
        (_, Key::Char(sign @ ('+' | '-'))) if empty && state.console.last.is_some() => {
            return Some(step(state, sign == '+'));
        }
        _ => {
            if !state.console.line.key(key) {
                return None;
            }
        }
    }
    Some(Vec::new())
}

/// A page back in what was said and answered, or on again.
fn scroll(state: &mut State, action: Action) {
    let (rows, shown) = room(state);
    let up = state.console.up;
    let next = if action == Action::PageUp { up + shown } else { up.saturating_sub(shown) };
    state.console.up = next.min(rows.saturating_sub(shown));
}

fn run(state: &mut State) -> Vec<Effect> {
    let line = state.console.line.text().trim().to_string();
    if line.is_empty() {
        return again(state);
    }
    state.console.given(&line);
    match parse(&line, state.core.sheet.as_deref()) {
        Err(why) => {
            state.console.push(Row::trouble(why));
            Vec::new()
        }
        Ok(Ask::Again) => again(state),
        Ok(Ask::Cycle(cycle)) => {
            state.console.last = Some(cycle);
            make(state, cycle)
        }
        Ok(Ask::LetGo) => order(state, Order::LetGo),
        Ok(Ask::Lines) => lines(state),
        Ok(Ask::Rail(on)) => rail(state, on),
        Ok(Ask::Writes { space, seconds, changes }) => allow(state, space, seconds, changes),
        Ok(Ask::Locked) => order(state, Order::Lock),
        Ok(Ask::Help) => {
            state.dialog = Some(Dialog::Help { pane: Pane::Console, down: 0 });
            Vec::new()
        }
        Ok(Ask::Quit) => quit(state),
    }
}

fn again(state: &mut State) -> Vec<Effect> {
    if let Some(cycle) = state.console.last {
        return make(state, cycle);
    }
    state.console.push(Row::trouble("there is no cycle to make again yet"));
    Vec::new()
}

/// The next address, or the one before; it stays in the space.
fn step(state: &mut State, on: bool) -> Vec<Effect> {
    let sheet = state.core.sheet.clone();
    let (Some(mut cycle), Some(sheet)) = (state.console.last, sheet) else { return Vec::new() };
    let Some(space) = sheet.spaces.get(cycle.space) else { return Vec::new() };
    let offset = cycle.address.0.wrapping_sub(space.base.0);
    let offset = if on {
        (offset + 1) % space.words
    } else {
        offset.checked_sub(1).unwrap_or(space.words - 1)
    };
    cycle.address = WordAddress(space.base.0 + offset);
    state.console.last = Some(cycle);
    make(state, cycle)
}

fn order(state: &mut State, order: Order) -> Vec<Effect> {
    if matches!(state.core.doing, Doing::Job(_)) {
        state.console.push(Row::trouble("a job runs; ^C stops it first"));
        return Vec::new();
    }
    vec![Effect::Send(Command::Order(order))]
}

/// Leave that is asked for by its own line: the same question as for a write. What cannot have
/// any is left to the core, which says why.
fn allow(
    state: &mut State,
    space: usize,
    seconds: u16,
    changes: Option<(WordAddress, WordAddress)>,
) -> Vec<Effect> {
    if state.core.doing != Doing::ByHand {
        return order(state, Order::Allow { space, seconds, changes });
    }
    let does = "Every write that follows may erase and program there";
    let mut form = LeaveForm::new(space, seconds, None);
    form.changes = changes.map(|window| (window, does.to_string()));
    state.dialog = Some(Dialog::Leave(form));
    Vec::new()
}

fn make(state: &mut State, cycle: Cycle) -> Vec<Effect> {
    let covers = |leave: Leave| leave.space == Some(cycle.space) && state.now < leave.until;
    let locked = !state.core.leave.is_some_and(covers);
    let writable = |sheet: &SheetFacts| {
        sheet.spaces.get(cycle.space).is_some_and(|space| space.kind != Kind::Rom)
    };
    let asks = cycle.value.is_some()
        && locked
        && state.core.doing == Doing::ByHand
        && state.core.sheet.as_deref().is_some_and(writable);
    if asks {
        let form = LeaveForm::new(cycle.space, SECONDS, Some(cycle.order()));
        state.dialog = Some(Dialog::Leave(form));
        return Vec::new();
    }
    order(state, cycle.order())
}

/// A write would change a chip: its leave is asked for, with the sector as its window.
pub(super) fn asks(state: &mut State, answer: &Answer) {
    let Answer::Asks { space, address, value, verdict } = answer else { return };
    let hold = state.console.last.is_some_and(|last| last.hold);
    let cycle = Cycle { space: *space, address: *address, value: Some(*value), hold };
    let sheet = state.core.sheet.clone().unwrap_or_default();
    let window = window(state, &sheet, *space, *address, verdict.act);
    let mut form = LeaveForm::new(*space, SECONDS, Some(cycle.order()));
    form.changes = Some((window, told(&sheet, *space, verdict)));
    state.dialog = Some(Dialog::Leave(form));
}

/// The sector of a word, as far as sectors are known; all of the space for what reaches the chip.
fn window(
    state: &State,
    sheet: &SheetFacts,
    index: usize,
    at: WordAddress,
    act: Act,
) -> (WordAddress, WordAddress) {
    let (Some(space), Some(map)) = (sheet.spaces.get(index), state.core.map.get(index)) else {
        return (at, at);
    };
    let sector = || map.part(map.part_at(at.0.wrapping_sub(space.base.0)));
    let (first, words) = match act {
        Act::EraseChip => (0, space.words),
        _ => match sector().filter(|_| map.has_sectors()) {
            Some(sector) => (sector.first, sector.words),
            None => return (at, at),
        },
    };
    (WordAddress(space.base.0 + first), WordAddress(space.base.0 + first + (words - 1)))
}
