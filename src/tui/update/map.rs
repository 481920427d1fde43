//! Moving in the memory map.

use crate::app::workbench::SpaceMap;
use crate::tui::keys::Action;
use crate::tui::panes::map::{cells_per_row, view_rows, words_per_row};
use crate::tui::state::{MapPane, State, View, Zoom};

/// The first word under the cursor, counted from the base.
pub(super) fn cursor_word(state: &State) -> Option<u32> {
    let map = state.core.map.get(state.map.space)?;
    map.part(state.map.block).map(|part| part.first)
}

/// Brings the cursor back into what there is, to the part that holds `word`: sectors may have
/// taken the place of blocks.
pub(super) fn clamp(state: &mut State, word: Option<u32>) {
    let spaces = state.core.map.len();
    if state.map.space >= spaces {
        state.map = MapPane::default();
    }
    let map = state.core.map.get(state.map.space);
    if let (Some(map), Some(word)) = (map, word) {
        state.map.block = map.part_at(word);
    }
    let blocks = map.map_or(0, SpaceMap::parts);
    state.map.block = state.map.block.min(blocks.saturating_sub(1));
}

pub(super) fn act(state: &mut State, action: Action) {
    match (state.map.zoom, action) {
        (_, Action::View) => view(state),
        (_, Action::ZoomIn) => closer(state),
        (_, Action::ZoomOut) => farther(state),
        (Zoom::Words, action) => words(state, action),
        (zoom, action) => blocks(state, zoom, action),
    }
}

/// The next view, where a plan gives it something to show.
fn view(state: &mut State) {
    if state.core.map.iter().all(|map| map.planned.is_empty()) {
        state.notice =
            Some("there is no plan yet that another view could show; n makes one".into());
        return;
    }
    state.map.view = match state.map.view {
        View::Copy => View::Plan,
        View::Plan => View::Write,
        View::Write => View::Copy,
    };
}

fn closer(state: &mut State) {
    let Some(map) = state.core.map.get(state.map.space) else { return };
    state.map.zoom = match state.map.zoom {
        Zoom::Module => Zoom::Blocks,
        Zoom::Blocks | Zoom::Words => {
            if state.map.zoom == Zoom::Blocks {
                state.map.word = map.part(state.map.block).map_or(0, |part| part.first);
                state.map.page.clear();
            }
            Zoom::Words
        }
    };
}

fn farther(state: &mut State) {
    state.map.zoom = match state.map.zoom {
        Zoom::Words => {
            let map = state.core.map.get(state.map.space);
            state.map.block = map.map_or(0, |map| map.part_at(state.map.word));
            Zoom::Blocks
        }
        Zoom::Blocks | Zoom::Module => Zoom::Module,
    };
}

fn blocks(state: &mut State, zoom: Zoom, action: Action) {
    let Some(map) = state.core.map.get(state.map.space) else { return };
    let blocks = map.parts();
    let row = if zoom == Zoom::Module { cells_per_row(state) } else { 1 };
    let page = view_rows(state).max(1);
    let at = state.map.block;
    let (space, block) = (state.map.space, at);
    let (space, block) = match action {
        Action::Left => (space, block.saturating_sub(1)),
        Action::Right => (space, block + 1),
        Action::Home => (space, 0),
        Action::End => (space, blocks.saturating_sub(1)),
        Action::Up if block >= row => (space, block - row),
        // Out of the space at its upper end.
        Action::Up if zoom == Zoom::Module && space > 0 => {
            let before = state.core.map[space - 1].parts();
            (space - 1, (before.saturating_sub(1) / row * row + block).min(before - 1))
        }
        Action::Down if block + row < blocks => (space, block + row),
        Action::Down if zoom == Zoom::Module && space + 1 < state.core.map.len() => {
            (space + 1, block % row)
        }
        Action::PageUp => (space, block.saturating_sub(page * row)),
        Action::PageDown => (space, block + page * row),
        _ => (space, block),
    };
    state.map.space = space;
    state.map.block = block;
    clamp(state, None);
}

fn words(state: &mut State, action: Action) {
    let Some(sheet) = state.core.sheet.clone() else { return };
    let Some(space) = sheet.spaces.get(state.map.space) else { return };
    let row = words_per_row(state, space) as u32;
    let page = row * (view_rows(state).max(1) as u32);
    let last = space.words.saturating_sub(page).next_multiple_of(row.max(1));
    let at = state.map.word;
    let word = match action {
        Action::Up | Action::Left => at.saturating_sub(row),
        Action::Down | Action::Right => at + row,
        Action::PageUp => at.saturating_sub(page),
        Action::PageDown => at + page,
        Action::Home => 0,
        Action::End => last,
        _ => at,
    };
    state.map.word = word.min(last);
}
