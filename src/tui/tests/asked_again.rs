//! What cannot be planned so is said where it was typed; what is not finished is named as it is.

use super::fixture::*;
use super::scripts::sends;
use super::write_fixture::*;
use super::write_screens::images;
use crate::app::Job;
use crate::app::workbench::{Command, Doing, UnfinishedWrite};
use crate::tui::dialogs::Dialog;
use crate::tui::keys::Key;
use crate::tui::msg::{Effect, Msg};
use crate::tui::state::{State, View};
use std::sync::Arc;

fn asked() -> State {
    let mut state = identified(80, 24);
    state.cautioned = true;
    keys(&mut state, &[Key::Char('n')]);
    send(&mut state, Msg::Images(images()));
    state
}

/// The form for a file that there is, the field for the range chosen.
fn at_range() -> State {
    let mut state = asked();
    types(&mut state, "new.bin");
    send(&mut state, Msg::Image("new.bin".into(), None));
    keys(&mut state, &[Key::Down]);
    state
}

#[test]
fn a_file_that_is_not_there_is_refused_where_it_was_typed() {
    let mut state = asked();
    let asks = types(&mut state, "nofile.bin");
    assert!(matches!(&asks[..], [Effect::FindImage(name)] if name == "nofile.bin"), "{asks:?}");
    let wrong = "nofile.bin: no such file, and no capture id";
    send(&mut state, Msg::Image("nofile.bin".into(), Some(wrong.into())));
    let shown = text(&state);
    assert!(shown.contains(wrong) && shown.contains("Image to plan"), "{shown}");
    assert!(shown.contains("other  nofile.bin"), "{shown}");
    keys(&mut state, &[Key::Backspace]);
    assert!(!text(&state).contains(wrong));
}

#[test]
fn a_sheet_that_is_not_there_is_refused_where_it_was_typed() {
    let mut state = connected(80, 24);
    keys(&mut state, &[Key::Char('s')]);
    let asks = types(&mut state, "TG-9");
    assert!(matches!(&asks[..], [Effect::FindSheet(name)] if name == "TG-9"), "{asks:?}");
    let wrong = "module sheet TG-9: no such file (built in are TG-7, TG-7b)";
    assert!(send(&mut state, Msg::Sheet("TG-9".into(), Some(wrong.into()))).is_empty());
    let shown = text(&state);
    assert!(shown.contains("no such file") && shown.contains("other  TG-9"), "{shown}");
    assert_eq!(state.wanted.sheet, None, "a name of nothing is not kept");
    keys(&mut state, &[Key::Ctrl('u')]);
    types(&mut state, "my.toml");
    let looks = send(&mut state, Msg::Sheet("my.toml".into(), None));
    assert!(matches!(sends(&looks)[..], [Command::Look(_)]) && state.dialog.is_none(), "{looks:?}");
    assert_eq!(state.wanted.sheet.as_deref(), Some("my.toml"));
}

#[test]
fn a_long_refusal_of_a_plan_can_be_scrolled_to_its_end() {
    let mut state = at_range();
    keys(&mut state, &[Key::Enter]);
    send(&mut state, Msg::Resize(60, 20));
    let mut core = state.core.clone();
    let why = format!("new.bin holds 5 bytes; {}and so it ends", "expected is more ".repeat(30));
    core.plan_refused = Some(Arc::new(why));
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    let shown = text(&state);
    assert!(shown.contains("more below") && shown.contains("holds 5 bytes"), "{shown}");
    assert!(!shown.contains("and so it ends") && shown.contains("PgUp PgDn scroll"), "{shown}");
    keys(&mut state, &[Key::PageDown; 3]);
    let shown = text(&state);
    assert!(shown.contains("and so it ends") && !shown.contains("more below"), "{shown}");
    keys(&mut state, &[Key::PageUp; 3]);
    assert!(text(&state).contains("space"), "{}", text(&state));
    keys(&mut state, &[Key::Down]);
    assert!(!text(&state).contains("holds 5 bytes"), "asked anew: {}", text(&state));
}

#[test]
fn a_range_that_cannot_be_is_refused_in_the_form() {
    for (space, range, words) in [
        (0, "0x8000+0x4000", "choose it in the field space"),
        (1, "0x8000", "+"),
        (1, "8000+0x4000", "hexadecimal or decimal"),
        (1, "0+250", "0+250: addresses are written with 0x, this one as 0x0"),
        (1, "0x7FFFF+2", "is not inside store, which has words 0x0+0x80000"),
    ] {
        let mut state = at_range();
        keys(&mut state, &[Key::Up]);
        keys(&mut state, &vec![Key::Right; space]);
        keys(&mut state, &[Key::Down]);
        assert!(types(&mut state, range).is_empty(), "{range}");
        let Some(Dialog::Plan(form)) = &state.dialog else { panic!("{:?}", state.dialog) };
        let wrong = form.wrong.clone().unwrap();
        assert!(wrong.contains(words) && !wrong.contains("--"), "{wrong}");
        let shown = text(&state);
        assert!(shown.contains(range) && shown.contains("range"), "{shown}");
    }
    let mut state = at_range();
    keys(&mut state, &[Key::Up, Key::Right, Key::Down]);
    let begun = types(&mut state, "0x7FFFE+2");
    assert!(matches!(sends(&begun)[..], [Command::Run("plan", Job::Plan(_))]), "{begun:?}");
}

#[test]
fn a_plan_that_is_refused_brings_its_form_back() {
    let mut state = at_range();
    keys(&mut state, &[Key::Up, Key::Right]);
    assert_eq!(keys(&mut state, &[Key::Enter]).len(), 1);
    let mut core = state.core.clone();
    core.doing = Doing::Job("plan");
    send(&mut state, Msg::Core(Box::new(core.clone()), Vec::new()));
    assert!(state.dialog.is_none());
    core.doing = Doing::Nothing;
    core.plan_refused = Some(Arc::new("new.bin holds 5 bytes; expected 2097152".into()));
    send(&mut state, Msg::Core(Box::new(core.clone()), Vec::new()));
    let shown = text(&state);
    assert!(shown.contains("holds 5 bytes") && shown.contains("space      store"), "{shown}");
    keys(&mut state, &[Key::Esc]);
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(state.dialog.is_none(), "once");
}

#[test]
fn the_view_of_a_write_names_the_plan_that_is_on_the_map() {
    let mut state = looked(80, 24, true, false);
    keys(&mut state, &[Key::Esc]);
    let title = |state: &State| text(state).lines().nth(1).unwrap().to_string();
    assert!(title(&state).contains("write K7M2QX"), "{}", title(&state));
    let mut core = state.core.clone();
    core.doing = Doing::Job("write");
    core.laid = Some("9P40MT".into());
    send(&mut state, Msg::Core(Box::new(core.clone()), Vec::new()));
    assert!(state.core.unfinished.is_some() && state.view() == View::Write);
    assert!(title(&state).contains("write 9P40MT"), "{}", title(&state));
}

#[test]
fn how_far_a_write_is_is_said_in_numbers_that_agree() {
    let of = |written, of| UnfinishedWrite { written, of, ..unfinished_facts() };
    for (written, all, words) in [
        (0, 1, "its one sector is not written"),
        (1, 1, "its one sector is written, and not yet proven after a power cycle"),
        (1, 5, "1 of 5 sectors is written"),
        (2, 5, "2 of 5 sectors are written"),
        (5, 5, "all 5 sectors are written, and not yet proven after a power cycle"),
    ] {
        assert_eq!(of(written, all).progress(), words);
    }
    let said = of(2, 5).left_behind(true);
    assert!(said.contains("nothing is left to go on with") && !said.contains("resume"), "{said}");
    let said = of(2, 5).left_behind(false);
    for words in ["TG-7 #0417 (plan K7M2QX) is not finished: 2 of 5", "`buswright resume`"] {
        assert!(said.contains(words), "{said}");
    }
    let mut state = looked(80, 24, true, false);
    state.core.unfinished = Some(Arc::new(UnfinishedWrite { broken: Vec::new(), ..of(1, 1) }));
    let shown = text(&state);
    assert!(shown.contains("A write is not proven yet"), "{shown}");
    keys(&mut state, &[Key::Enter]);
    assert!(text(&state).contains("nothing is left to write"), "{}", text(&state));
}
