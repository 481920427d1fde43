//! What must be in sight, in small windows too.

use super::fixture::*;
use super::scripts::sends;
use super::write_fixture::*;
use crate::app::workbench::{Command, Elsewhere, Rail};
use crate::tui::console::Row;
use crate::tui::dialogs::Dialog;
use crate::tui::keys::Key;
use crate::tui::msg::Msg;
use crate::tui::state::{Details, State};

fn first(state: &State) -> String {
    text(state).lines().next().unwrap().to_string()
}

#[test]
fn the_lines_of_the_console_are_shown_from_the_first_and_scroll() {
    for (width, height) in [(80, 24), (120, 40), (40, 12)] {
        let mut state = by_hand(width, height);
        types(&mut state, "help");
        assert!(matches!(state.dialog, Some(Dialog::Help { .. })), "{width}x{height}");
        assert!(text(&state).contains("SPACE ADDRESS ?"), "{}", text(&state));
        keys(&mut state, &[Key::PageDown; 20]);
        assert!(!text(&state).contains("more below"), "{}", text(&state));
        keys(&mut state, &[Key::Esc, Key::Char('l')]);
        assert_eq!(state.console.line.text(), "l", "back in the console");
    }
    // A form that is longer than its column stands above its sentence.
    let mut state = by_hand(80, 24);
    types(&mut state, "help");
    keys(&mut state, &[Key::PageDown]);
    let shown = text(&state);
    let form = shown.lines().find(|line| line.contains("writes SPACE")).unwrap();
    assert_eq!(form.trim(), "writes SPACE [FIRST-LAST] [SECONDS]", "{shown}");
}

#[test]
fn what_was_said_in_the_console_scrolls_back() {
    let mut state = by_hand(80, 24);
    for n in 0..20 {
        state.console.push(Row::plain(format!("row {n}.")));
    }
    assert!(text(&state).contains("row 19.") && !text(&state).contains("row 16."));
    keys(&mut state, &[Key::PageUp]);
    let shown = text(&state);
    assert!(shown.contains("row 16.") && !shown.contains("row 19."), "{shown}");
    assert!(shown.contains("3 newer below, PgDn goes there"), "{shown}");
    keys(&mut state, &[Key::PageUp; 20]);
    assert!(text(&state).contains("row 0.") && text(&state).contains("row 2."), "{}", text(&state));
    keys(&mut state, &[Key::PageDown; 20]);
    assert!(text(&state).contains("row 19."), "{}", text(&state));
    keys(&mut state, &[Key::PageUp]);
    types(&mut state, "rail on");
    assert_eq!(state.console.up, 0, "an answer is in sight");
}

#[test]
fn while_another_one_has_the_port_the_status_line_says_so() {
    let mut state = closed(80, 24);
    let there = Elsewhere {
        process: 12,
        doing: "write of TG-7 #0417, begun 14:00 UTC".into(),
        at: "store: pass 1, writing".into(),
        seen: true,
    };
    send(&mut state, Msg::Elsewhere(Some(there)));
    for _ in 0..2 {
        let shown = first(&state);
        assert!(shown.contains("RAIL NOT KNOWN - another workbench has the port"), "{shown}");
        assert!(!shown.contains("WRITES LOCKED"), "{shown}");
        keys(&mut state, &[Key::Esc]);
    }
    send(&mut state, Msg::Elsewhere(None));
    assert!(first(&state).contains("NOT CONNECTED"), "{}", first(&state));
}

#[test]
fn no_word_of_the_status_line_is_cut_at_forty_columns() {
    let state = connected(40, 12);
    assert_eq!(first(&state).trim(), "RAIL OFF - safe to move the module SIM");
    let mut state = closed(80, 24);
    assert!(text(&state).contains("none, c connects"), "{}", text(&state));
    state.core.rail = Rail::NotAsked;
    assert!(first(&state).contains("SIMULATED BENCH"), "{}", first(&state));
}

#[test]
fn esc_leaves_what_d_shows() {
    let mut state = identified(80, 24);
    keys(&mut state, &[Key::Char('d')]);
    assert_ne!(state.details, Details::None);
    keys(&mut state, &[Key::Esc]);
    assert_eq!(state.details, Details::None);
}

#[test]
fn cautions_are_passed_once_their_end_was_on_the_screen() {
    let mut state = connected(40, 10);
    assert!(keys(&mut state, &[Key::Char('k')]).is_empty());
    let mut pages = 1;
    while text(&state).contains("more below") {
        assert!(text(&state).contains("Enter next page"), "{}", text(&state));
        assert!(keys(&mut state, &[Key::Enter]).is_empty() && !state.cautioned);
        pages += 1;
    }
    assert!(pages > 3 && text(&state).contains("hardware is touched"), "{}", text(&state));
    let begun = keys(&mut state, &[Key::Enter]);
    assert!(matches!(sends(&begun)[..], [Command::Run("capture", _)]) && state.cautioned);
    // A window with room for all of them asks once.
    let mut state = identified(80, 24);
    keys(&mut state, &[Key::Char('k')]);
    assert_eq!(keys(&mut state, &[Key::Enter]).len(), 1, "{LABEL}");
}
