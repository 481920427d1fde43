//! Whole screens against the texts in `tests/screens/`.

use super::fixture::*;
use crate::app::workbench::{Elsewhere, Rail, Tone};
use crate::tui::dialogs::Dialog;
use crate::tui::glyphs::{ASCII, UNICODE};
use crate::tui::keys::Key;
use crate::tui::msg::Msg;
use crate::tui::state::{Look, State};
use crate::tui::theme::Theme;
use ratatui::style::{Color, Modifier};

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 40), (60, 18)];

#[track_caller]
pub fn kept(name: &str, make: impl Fn(u16, u16) -> State) {
    for (width, height) in SIZES {
        let state = make(width, height);
        same_as_file(&format!("tests/screens/{name}-{width}x{height}.txt"), &text(&state));
    }
}

#[test]
fn connected_and_capturing() {
    kept("connected", connected);
    kept("capturing", capturing);
}

#[test]
fn after_identification_the_map_has_sectors() {
    kept("identified", identified);
    kept("sectors", |width, height| {
        let mut state = identified(width, height);
        keys(&mut state, &[Key::Char('2'), Key::Enter, Key::Down]);
        state
    });
    let mut state = identified(80, 24);
    keys(&mut state, &[Key::Char('d')]);
    assert!(text(&state).contains("U1 U2: S29AL008J"), "{}", text(&state));
    keys(&mut state, &[Key::Char('d')]);
    assert!(text(&state).contains("sent      60 frames"));
    keys(&mut state, &[Key::Char('d')]);
    assert!(text(&state).contains("specimen TG-7 #0417"));
}

#[test]
fn the_cursor_stays_at_its_word_when_sectors_take_the_place_of_blocks() {
    let mut state = connected(80, 24);
    keys(&mut state, &[Key::Char('2'), Key::Right, Key::Right]);
    assert!(text(&state).contains("store 0x8000-0xBFFF"), "{}", text(&state));
    let core = identified(80, 24).core;
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(text(&state).contains("store 0x8000-0xBFFF"), "{}", text(&state));
    keys(&mut state, &[Key::Home, Key::Right]);
    assert!(text(&state).contains("store 0x2000-0x2FFF"), "{}", text(&state));
}

#[test]
fn the_word_for_the_link_is_filled_by_any_work_and_never_without_an_answer() {
    let mut state = identified(80, 24);
    assert!(text(&state).contains("link     good"), "{}", text(&state));
    state.core.link = Some(crate::link::LinkStats { frames_sent: 9, ..Default::default() });
    assert!(text(&state).contains("link     no answer"));
    state.core.link = None;
    assert!(text(&state).contains("link     not used yet"));
}

#[test]
fn the_map_from_near() {
    let near = |width, height| {
        let mut state = capturing(width, height);
        keys(&mut state, &[Key::Char('2'), Key::Down, Key::Up, Key::Right, Key::Enter]);
        state
    };
    kept("blocks", near);
    kept("words", |width, height| {
        let mut state = near(width, height);
        keys(&mut state, &[Key::Enter]);
        let page = (0..2_048_u32).map(|n| n.wrapping_mul(0x9E37_79B9)).collect();
        send(&mut state, Msg::Page(page));
        state
    });
}

#[test]
fn the_console_with_answers() {
    use crate::app::workbench::{Answer, Item};
    use crate::bus::WordAddress;
    kept("console", |width, height| {
        let mut state = by_hand(width, height);
        types(&mut state, "store 1F00 ?");
        let at = WordAddress(0x1F00);
        let read = |a, b| Item::Answer(Answer::Read { space: 0, address: at, words: [a, b] });
        let core = state.core.clone();
        let items = vec![read(0xA55A_1234, 0xA55A_1234), read(0xA55A_1230, 0xA55A_1236)];
        send(&mut state, Msg::Core(Box::new(core), items));
        state
    });
}

#[test]
fn dialogs() {
    kept("cautions", |width, height| {
        let mut state = connected(width, height);
        keys(&mut state, &[Key::Char('k')]);
        state
    });
    kept("help", |width, height| {
        let mut state = connected(width, height);
        keys(&mut state, &[Key::Char('2'), Key::Char('?')]);
        state
    });
    kept("port", |width, height| {
        let mut state = connected(width, height);
        keys(&mut state, &[Key::Char('p')]);
        state
    });
    kept("leave", |width, height| {
        let mut state = by_hand(width, height);
        types(&mut state, "records 10 = 1234ABCD");
        state
    });
    kept("elsewhere", |width, height| {
        let mut state = closed(width, height);
        let there = Elsewhere {
            process: 1234,
            doing: "capture of TG-7 #0417, begun 2026-03-01 14:03:31 UTC".into(),
            at: "store: pass 1, words".into(),
            seen: false,
        };
        send(&mut state, Msg::Elsewhere(Some(there)));
        state
    });
}

/// Letters and signs that a terminal without Unicode shows.
#[test]
fn without_unicode_every_sign_is_ascii() {
    let mut state = capturing(80, 24);
    state.look.glyphs = ASCII;
    let shown = text(&state);
    assert!(shown.is_ascii(), "{shown}");
    assert!(shown.contains("#####U######-====") && shown.contains("# agreed"), "{shown}");
}

#[test]
fn without_colours_everything_can_still_be_told_apart() {
    let mut state = capturing(80, 24);
    let dark = text(&state);
    state.look = Look { theme: Theme::load("mono").unwrap(), glyphs: UNICODE };
    assert_eq!(text(&state), dark, "a theme changes no letter");
    let buffer = buffer(&state);
    assert!(buffer.content.iter().all(|cell| (cell.fg, cell.bg) == (Color::Reset, Color::Reset)));
    assert!(buffer[(1, 0)].modifier.contains(Modifier::REVERSED), "RAIL ON stands out");
}

#[test]
fn a_theme_with_a_background_has_it_everywhere() {
    for dialog in [false, true] {
        let mut state = connected(80, 24);
        if dialog {
            keys(&mut state, &[Key::Char('?')]);
        }
        state.look.theme = Theme::load("contrast").unwrap();
        let buffer = buffer(&state);
        assert!(buffer.content.iter().all(|cell| cell.bg != Color::Reset));
    }
}

#[test]
fn the_status_line_says_what_matters_for_hands() {
    let mut state = connected(80, 24);
    let first = |state: &State| text(state).lines().next().unwrap_or_default().to_string();
    for (rail, words) in [
        (Rail::NotAsked, "the rail is not known"),
        (Rail::Off { mv: 12, measured: true }, "RAIL OFF - safe to move the module"),
        (Rail::Off { mv: 500, measured: true }, "measure it first"),
        (Rail::Off { mv: 0, measured: false }, "RAIL OFF, not measured"),
        (Rail::OffConfirmed, "RAIL OFF - safe to move the module"),
        (Rail::On { mv: 3300, measured: true }, "RAIL ON - do not touch"),
        (Rail::Unknown, "RAIL NOT KNOWN - measure it before you touch the module"),
    ] {
        state.core.rail = rail;
        let line = first(&state);
        assert!(line.contains(words), "{line}");
        assert!(line.contains("SIM"), "{line}");
        let safe = line.contains("safe to move");
        let proven = matches!(rail, Rail::OffConfirmed | Rail::Off { mv: 0..300, measured: true });
        assert_eq!(safe, proven, "{line}");
    }
}

#[test]
fn every_dialog_fits_every_window() {
    for (width, height) in [(36, 8), (60, 18), (80, 24), (200, 60)] {
        let mut state = connected(width, height);
        for key in ['p', 's', 'm', 'a', 'o', '?'] {
            keys(&mut state, &[Key::Char(key)]);
            assert!(state.dialog.is_some(), "{key}");
            assert!(text(&state).contains("Esc"), "{key} at {width}x{height}");
            keys(&mut state, &[Key::Esc]);
            assert!(state.dialog.is_none(), "{key} can be escaped");
        }
    }
    let mut state = connected(20, 5);
    assert!(text(&state).contains("20x5 is too small"));
    state.size = (1, 1);
    text(&state);
}

#[test]
fn text_from_outside_cannot_move_the_cursor() {
    let mut state = connected(80, 24);
    let mut core = ready();
    if let Some(adapter) = &mut core.adapter {
        adapter.board = "evil\u{1b}[2J\u{7}board".into();
    }
    core.specimen = Some("x\r\ny".into());
    let bad = line("14:00:00", Tone::Plain, "note\u{1b}]0;title\u{7} here");
    send(&mut state, Msg::Core(Box::new(core), vec![bad]));
    for cell in &buffer(&state).content {
        assert!(cell.symbol().chars().all(|c| !c.is_control()), "{:?}", cell.symbol());
    }
}

#[test]
fn help_scrolls_to_its_end_and_no_further() {
    let mut state = connected(80, 24);
    keys(&mut state, &[Key::Char('4')]);
    state.dialog = Some(Dialog::Help { pane: state.focus, down: 0 });
    let top = text(&state);
    keys(&mut state, &[Key::PageDown; 40]);
    let end = text(&state);
    assert!(end.contains("Paints the whole screen") && end != top);
    keys(&mut state, &[Key::Up]);
    keys(&mut state, &[Key::PageUp; 40]);
    assert_eq!(text(&state), top);
}
