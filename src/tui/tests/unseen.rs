//! Nothing is answered that is not on the screen, and no paste is an answer.

use super::fixture::*;
use super::scripts::{sends, stops};
use super::write_fixture::*;
use crate::app::workbench::Command;
use crate::tui::burst::burst;
use crate::tui::dialogs::Dialog;
use crate::tui::keys::Key;
use crate::tui::msg::{Effect, Msg};
use crate::tui::state::State;

fn confirming(width: u16, height: u16) -> State {
    let mut state = reviewing(80, 24);
    keys(&mut state, &[Key::Char('w')]);
    send(&mut state, Msg::Resize(width, height));
    state
}

/// Text that comes in one go, without the marks of a paste.
fn at_once(state: &mut State, text: &str) -> Vec<Effect> {
    let keys = text.chars().map(|c| if c == '\r' { Key::Enter } else { Key::Char(c) });
    let msgs = burst(keys.collect(), state.dialog.is_some());
    msgs.into_iter().flat_map(|msg| send(state, msg)).collect()
}

#[test]
fn where_nothing_can_be_shown_only_the_ways_out_act() {
    for (width, height) in [(20, 5), (35, 24), (80, 7)] {
        let mut state = reviewing(80, 24);
        send(&mut state, Msg::Resize(width, height));
        assert!(types(&mut state, "w").is_empty());
        assert!(matches!(state.dialog, Some(Dialog::Review { .. })), "{:?}", state.dialog);
        let mut state = confirming(width, height);
        assert!(types(&mut state, LABEL).is_empty(), "{width}x{height}");
        let Some(Dialog::Confirm { line, .. }) = &state.dialog else { panic!("no question") };
        assert!(line.is_empty(), "{}", line.text());
        for key in [Key::Esc, Key::Tab, Key::Ctrl('z'), Key::Ctrl('l'), Key::Char('4')] {
            assert!(keys(&mut state, &[key]).is_empty(), "{key:?}");
        }
        send(&mut state, Msg::Paste(LABEL.into()));
        assert!(matches!(state.dialog, Some(Dialog::Confirm { .. })), "it waits to be seen");
        let shown = text(&state).replace('\n', " ");
        assert!(shown.contains("too small, make it 36x8"), "{shown}");
        let ends = keys(&mut state, &[Key::Char('q')]);
        assert!(matches!(sends(&ends)[..], [Command::Quit]) && state.leaving);
    }
}

#[test]
fn the_ways_out_of_a_window_without_room_stop_what_runs() {
    let mut state = writing(20, 5);
    assert!(keys(&mut state, &[Key::Char('q'), Key::Enter, Key::Char('y')]).is_empty());
    assert!(text(&state).contains("q again: stop, rail"), "{}", text(&state));
    let ends = keys(&mut state, &[Key::Char('q')]);
    assert!(stops(&ends) == 1 && matches!(sends(&ends)[..], [Command::Quit]), "{ends:?}");
    let mut state = writing(20, 5);
    assert_eq!(stops(&keys(&mut state, &[Key::Ctrl('c')])), 1);
}

#[test]
fn a_write_is_not_confirmed_where_its_cautions_have_no_room() {
    for (width, height) in [(60, 16), (60, 18), (80, 21), (36, 8)] {
        let mut state = confirming(width, height);
        assert!(!text(&state).contains("Enter writes it"), "{}", text(&state));
        assert!(types(&mut state, LABEL).is_empty(), "{width}x{height}");
        assert!(text(&state).contains("too small"), "{}", text(&state));
        assert!(state.notice.as_deref().unwrap().contains("nothing is written"));
        // What was typed is still there once there is room.
        send(&mut state, Msg::Resize(80, 24));
        let begun = keys(&mut state, &[Key::Enter]);
        assert!(matches!(sends(&begun)[..], [Command::Run("write", _)]), "{begun:?}");
    }
    // The size that it names is enough, and none that is smaller.
    let mut state = confirming(60, 18);
    let wrong = crate::tui::dialogs::too_small(&state, false).unwrap();
    let height = wrong.split("60x").nth(1).and_then(|rest| rest.split(' ').next());
    let height: u16 = height.unwrap().parse().unwrap();
    for (height, enough) in [(height - 1, false), (height, true)] {
        send(&mut state, Msg::Resize(60, height));
        let shown = text(&state);
        assert_eq!(shown.contains("Meanwhile") && !shown.contains("too small"), enough, "{shown}");
    }
}

#[test]
fn a_wrong_label_takes_no_caution_off_the_screen() {
    let mut state = confirming(80, 24);
    types(&mut state, "TG-7 #0102");
    let shown = text(&state);
    for words in ["Meanwhile", "Instrument", "way back", "is it the"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
}

#[test]
fn a_paste_that_does_not_say_so_confirms_nothing() {
    let mut state = confirming(80, 24);
    assert!(at_once(&mut state, &format!("{LABEL}\r")).is_empty());
    let Some(Dialog::Confirm { line, .. }) = &state.dialog else { panic!("{:?}", state.dialog) };
    assert!(line.is_empty(), "{}", line.text());
    assert!(text(&state).contains("a paste is not taken: type it"), "{}", text(&state));
    // Nor where Enter is pressed by hand, much later.
    for piece in [LABEL, "TG-7", " #0417"] {
        at_once(&mut state, piece);
        assert!(keys(&mut state, &[Key::Enter]).is_empty() && state.dialog.is_some(), "{piece}");
    }
    assert!(text(&state).contains("a paste is not taken: type it"), "{}", text(&state));
    // A quick last letter is typed once more, and that is all.
    "TG-7 #041".chars().for_each(|c| drop(keys(&mut state, &[Key::Char(c)])));
    assert!(at_once(&mut state, "7\r").is_empty() && state.dialog.is_some());
    let begun = types(&mut state, "7");
    assert!(matches!(sends(&begun)[..], [Command::Run("write", _)]), "{begun:?}");
    // Nor is it leave for cycles by hand.
    let mut state = by_hand(80, 24);
    types(&mut state, "records 10 = 1");
    assert!(matches!(state.dialog, Some(Dialog::Leave(_))));
    at_once(&mut state, "allow");
    assert!(keys(&mut state, &[Key::Enter]).is_empty());
    assert!(text(&state).contains("a paste is not taken: type it"), "{}", text(&state));
    assert!(!types(&mut state, "allow").is_empty());
    // From the review on, too.
    let mut state = reviewing(80, 24);
    assert!(at_once(&mut state, &format!("w{LABEL}\r")).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Confirm { .. })));
    let mut state = looked(80, 24, false, true);
    assert!(at_once(&mut state, "yes\r").is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Started { .. })), "nobody has said that");
    // What allows nothing takes it as ever.
    let mut state = identified(80, 24);
    keys(&mut state, &[Key::Char('n')]);
    let asks = at_once(&mut state, "a.bin\r");
    assert!(matches!(&asks[..], [Effect::FindImage(name)] if name == "a.bin"), "{asks:?}");
}
