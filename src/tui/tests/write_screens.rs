//! Whole screens of planning and writing.

use super::fixture::*;
use super::screens::kept;
use super::write_fixture::*;
use crate::app::workbench::{BACK, ListLine};
use crate::tui::dialogs::Dialog;
use crate::tui::glyphs::ASCII;
use crate::tui::keys::Key;
use crate::tui::msg::Msg;
use crate::tui::state::State;
use crate::tui::theme::Theme;

pub fn images() -> Vec<ListLine> {
    let row = |name: &str, about: &str| ListLine { name: name.into(), about: about.into() };
    vec![
        row(BACK, "as before the last write"),
        row("0417-003", "TG-7 #0417 2026-02-27 09:30, 2.25 MiB"),
        row("0102-001", "TG-7 #0102 2026-02-11, 3 words unsteady"),
        row("@blank", "every word ones"),
    ]
}

fn image(width: u16, height: u16) -> State {
    let mut state = identified(width, height);
    keys(&mut state, &[Key::Char('n')]);
    send(&mut state, Msg::Images(images()));
    state
}

fn confirming(width: u16, height: u16) -> State {
    let mut state = reviewing(width, height);
    keys(&mut state, &[Key::Char('w')]);
    state
}

#[test]
fn planning() {
    kept("image", image);
    kept("form", |width, height| {
        let mut state = image(width, height);
        keys(&mut state, &[Key::Down, Key::Enter, Key::Right, Key::Down, Key::Down, Key::Right]);
        state
    });
    kept("review", reviewing);
    kept("review-end", |width, height| {
        let mut state = reviewing(width, height);
        keys(&mut state, &[Key::End]);
        state
    });
    let view = |width, height| {
        let mut state = reviewing(width, height);
        keys(&mut state, &[Key::Esc, Key::Char('2'), Key::Down, Key::Up]);
        state
    };
    kept("plan", view);
    kept("plan-sectors", |width, height| {
        let mut state = view(width, height);
        keys(&mut state, &[Key::Enter]);
        keys(&mut state, &[Key::Down; 10]);
        state
    });
}

#[test]
fn writing_and_its_ends() {
    kept("confirm", confirming);
    kept("confirm-wrong", |width, height| {
        let mut state = confirming(width, height);
        types(&mut state, "TG-7 #0102");
        state
    });
    kept("writing", |width, height| {
        let mut state = writing(width, height);
        keys(&mut state, &[Key::Char('2')]);
        state
    });
    kept("writing-stops", |width, height| {
        let mut state = writing(width, height);
        keys(&mut state, &[Key::Ctrl('c')]);
        state
    });
    kept("written", |width, height| ended(width, height, true));
    kept("not-written", |width, height| ended(width, height, false));
    kept("unfinished", |width, height| looked(width, height, true, true));
    kept("started", |width, height| looked(width, height, false, true));
}

#[test]
fn the_views_are_told_apart_without_colour_and_without_unicode() {
    let mut plan = reviewing(80, 24);
    keys(&mut plan, &[Key::Esc, Key::Char('2')]);
    let mut write = writing(80, 24);
    for (state, row, words) in [
        (&mut plan, "0x0      ########==___L###", "_ erase and program"),
        (&mut write, "0x0      ########==-__####", "D doubtful"),
    ] {
        state.look.glyphs = ASCII;
        let shown = text(state);
        assert!(shown.is_ascii() && shown.contains(row) && shown.contains(words), "{shown}");
        state.look.theme = Theme::load("mono").unwrap();
        assert_eq!(text(state), shown, "a theme changes no letter");
    }
}

#[test]
fn what_does_not_fit_a_dialog_is_counted() {
    let mut state = reviewing(60, 18);
    assert!(text(&state).contains("more below"), "{}", text(&state));
    keys(&mut state, &[Key::PageDown; 9]);
    let end = text(&state);
    assert!(!end.contains("more below") && end.contains("keep it"), "{end}");
    let Some(Dialog::Review { down }) = state.dialog else { panic!("no review") };
    keys(&mut state, &[Key::Down]);
    assert!(matches!(state.dialog, Some(Dialog::Review { down: same }) if same == down));
    keys(&mut state, &[Key::Up]);
    assert_ne!(text(&state), end, "counting stops where drawing does");
}

#[test]
fn every_dialog_of_a_write_fits_every_window() {
    let all: [fn(u16, u16) -> State; 7] = [
        image,
        |width, height| {
            let mut state = image(width, height);
            keys(&mut state, &[Key::Down, Key::Enter]);
            state
        },
        reviewing,
        confirming,
        |width, height| ended(width, height, false),
        |width, height| looked(width, height, true, false),
        |width, height| looked(width, height, false, true),
    ];
    for (width, height) in [(36, 8), (60, 18), (80, 24), (200, 60)] {
        for make in all {
            let mut state = make(width, height);
            assert!(state.dialog.is_some());
            let shown = text(&state);
            let keys_shown = ["Enter", "w write", "Esc back, nothing is written"];
            assert!(shown.contains("^C"), "{shown}");
            assert!(keys_shown.iter().any(|one| shown.contains(one)), "{shown}");
            keys(&mut state, &[Key::Esc]);
            assert!(state.dialog.is_none(), "{shown}");
        }
    }
}
