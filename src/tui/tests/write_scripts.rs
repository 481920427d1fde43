//! Keys of planning and writing in, state and effects out.

use super::fixture::*;
use super::scripts::{sends, stops};
use super::write_fixture::*;
use super::write_screens::images;
use crate::app::workbench::{BACK, Command, Doing};
use crate::app::{Job, PlanOptions, WriteOptions};
use crate::tui::dialogs::Dialog;
use crate::tui::keys::Key;
use crate::tui::msg::{Effect, Msg};
use crate::tui::state::{State, View};
use std::time::Duration;

fn plan_of(effects: &[Effect]) -> PlanOptions {
    match sends(effects)[..] {
        [Command::Run("plan", Job::Plan(options))] => options.clone(),
        _ => panic!("no plan: {effects:?}"),
    }
}

fn write_of(effects: &[Effect]) -> WriteOptions {
    match sends(effects)[..] {
        [Command::Run("write", Job::Write(options))] => options.clone(),
        _ => panic!("no write: {effects:?}"),
    }
}

/// The list of images, open.
fn asked() -> State {
    let mut state = identified(80, 24);
    state.cautioned = true;
    let asks = keys(&mut state, &[Key::Char('n')]);
    assert!(matches!(asks[..], [Effect::ListImages]));
    send(&mut state, Msg::Images(images()));
    state
}

#[test]
fn an_image_is_chosen_or_typed_and_the_form_says_what_of_it() {
    let mut state = asked();
    let options = plan_of(&keys(&mut state, &[Key::Enter]));
    assert_eq!((options.image, options.take), (None, Vec::new()), "the way back asks nothing");
    let mut state = asked();
    keys(&mut state, &[Key::Down, Key::Enter]);
    let options = plan_of(&keys(&mut state, &[Key::Enter]));
    assert_eq!((options.image.as_deref(), options.space), (Some("0417-003"), None));
    let mut state = asked();
    let asks = types(&mut state, "tables/new.bin");
    assert!(matches!(&asks[..], [Effect::FindImage(name)] if name == "tables/new.bin"), "{asks:?}");
    send(&mut state, Msg::Image("tables/new.bin".into(), None));
    keys(&mut state, &[Key::Right, Key::Down]);
    send(&mut state, Msg::Paste("0x8000+0x4000\n".into()));
    keys(&mut state, &[Key::Down, Key::Char(' ')]);
    assert!(text(&state).contains("TAKEN from the image"), "{}", text(&state));
    let options = plan_of(&keys(&mut state, &[Key::Enter]));
    assert_eq!(options.image.as_deref(), Some("tables/new.bin"));
    assert_eq!(options.space.as_deref(), Some("store"));
    assert_eq!(options.range.as_deref(), Some("0x8000+0x4000"));
    assert_eq!(options.take, ["constants"]);
    assert!(!options.accept_simulated);
    // Not before the cautions were read.
    let mut state = asked();
    state.cautioned = false;
    assert!(keys(&mut state, &[Key::Enter]).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Cautions { then: Some(_), .. })));
    assert_eq!(plan_of(&keys(&mut state, &[Key::Enter])).image, None);
    assert_ne!(BACK, "");
}

#[test]
fn blank_words_are_planned_for_the_sector_under_the_cursor() {
    let mut state = identified(80, 24);
    state.cautioned = true;
    keys(&mut state, &[Key::Char('2'), Key::Right, Key::Char('n')]);
    send(&mut state, Msg::Images(images()));
    keys(&mut state, &[Key::Down, Key::Down, Key::Down, Key::Enter]);
    let options = plan_of(&keys(&mut state, &[Key::Enter]));
    assert_eq!(
        (options.space.as_deref(), options.range.as_deref()),
        (Some("store"), Some("0x2000+0x1000"))
    );
    // In RAM there is nothing to plan, and a file is what it is.
    for (pane, image) in [([Key::Char('2'), Key::End, Key::Down], 3), ([Key::Char('2'); 3], 1)] {
        let mut state = identified(80, 24);
        state.cautioned = true;
        keys(&mut state, &pane);
        keys(&mut state, &[Key::Char('n')]);
        send(&mut state, Msg::Images(images()));
        keys(&mut state, &vec![Key::Down; image]);
        keys(&mut state, &[Key::Enter]);
        assert_eq!(plan_of(&keys(&mut state, &[Key::Enter])).range, None);
    }
}

#[test]
fn the_map_asks_whether_what_is_under_the_cursor_is_blank() {
    let mut state = identified(80, 24);
    state.cautioned = true;
    let effects = keys(&mut state, &[Key::Char('2'), Key::Right, Key::Char('b')]);
    let [Command::Run("verify", Job::Verify { image, space, range, .. })] = sends(&effects)[..]
    else {
        panic!("{effects:?}")
    };
    assert_eq!(
        (image.as_str(), space.as_deref(), range.as_deref()),
        ("@blank", Some("store"), Some("0x2000+0x1000"))
    );
    let mut state = connected(80, 24);
    state.core.sheet = None;
    assert!(keys(&mut state, &[Key::Char('2'), Key::Char('b')]).is_empty());
    assert!(state.notice.as_deref().unwrap().contains("no sector or block"));
}

#[test]
fn a_plan_is_shown_once_and_again_on_request() {
    let mut state = reviewing(80, 24);
    assert!(matches!(state.dialog, Some(Dialog::Review { down: 0 })));
    assert_eq!(state.view(), View::Plan);
    keys(&mut state, &[Key::Esc]);
    let core = state.core.clone();
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(state.dialog.is_none(), "shown once");
    keys(&mut state, &[Key::Char('e')]);
    assert!(matches!(state.dialog, Some(Dialog::Review { .. })));
    let mut state = connected(80, 24);
    keys(&mut state, &[Key::Char('e')]);
    assert!(state.dialog.is_none() && state.notice.as_deref().unwrap().contains("n makes one"));
}

#[test]
fn nothing_is_written_before_the_label_is_typed_letter_by_letter() {
    let mut state = reviewing(80, 24);
    assert!(keys(&mut state, &[Key::Char('w')]).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Confirm { resume: false, .. })));
    for wrong in ["", "y", "TG-7 #041", "tg-7 #0417", "TG-7#0417", "TG-7 #0418"] {
        let effects = types(&mut state, wrong);
        assert!(effects.is_empty(), "{wrong}");
        let Some(Dialog::Confirm { wrong: why, .. }) = &state.dialog else { panic!("{wrong}") };
        assert!(why.is_some(), "{wrong}");
        keys(&mut state, &[Key::Ctrl('u')]);
    }
    let pasted = send(&mut state, Msg::Paste(LABEL.into()));
    assert!(pasted.is_empty() && text(&state).contains("a paste is not taken: type it"));
    assert!(keys(&mut state, &[Key::Enter]).is_empty());
    assert!(text(&state).contains("a paste is not taken: type it"), "{}", text(&state));
    let plan = write_of(&types(&mut state, LABEL));
    let (code, confirm) = ("K7M2QX".to_string(), LABEL.to_string());
    assert_eq!(plan, WriteOptions::Plan { code, confirm });
    assert!(state.dialog.is_none() && state.view() == View::Write);
}

#[test]
fn without_a_plan_or_with_an_empty_one_there_is_nothing_to_confirm() {
    let mut state = connected(80, 24);
    assert!(keys(&mut state, &[Key::Char('w')]).is_empty() && state.dialog.is_none());
    let mut state = reviewing(80, 24);
    let mut core = state.core.clone();
    core.plan =
        Some(std::sync::Arc::new(crate::app::workbench::PlanFacts { code: None, ..facts() }));
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    keys(&mut state, &[Key::Esc]);
    assert!(keys(&mut state, &[Key::Char('w')]).is_empty() && state.dialog.is_none());
    assert!(state.notice.as_deref().unwrap().contains("holds that already"));
}

#[test]
fn an_unfinished_write_is_offered_and_then_the_question() {
    let mut state = looked(80, 24, true, true);
    assert!(matches!(state.dialog, Some(Dialog::Unfinished { at: 0 })));
    assert_eq!(state.view(), View::Write);
    keys(&mut state, &[Key::Esc]);
    assert!(matches!(state.dialog, Some(Dialog::Started { at: 0 })), "one after the other");
    assert!(keys(&mut state, &[Key::Enter]).is_empty(), "not yet is the answer at first");
    assert!(state.dialog.is_none());
    let core = state.core.clone();
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(state.dialog.is_none(), "offered once a look");
    keys(&mut state, &[Key::Char('w'), Key::Enter]);
    assert!(matches!(state.dialog, Some(Dialog::Confirm { resume: true, .. })));
    state.cautioned = true;
    assert_eq!(write_of(&types(&mut state, LABEL)), WriteOptions::Resume);
}

#[test]
fn whether_the_instrument_started_is_kept() {
    for (down, answer) in [(1, true), (2, false)] {
        let mut state = looked(80, 24, false, true);
        keys(&mut state, &vec![Key::Down; down]);
        let effects = keys(&mut state, &[Key::Enter]);
        assert!(matches!(sends(&effects)[..], [Command::Started(said)] if *said == answer));
    }
    let mut state = looked(80, 24, false, true);
    assert!(keys(&mut state, &[Key::Esc]).is_empty(), "later");
}

#[test]
fn what_is_offered_waits_for_whoever_is_at_something_else() {
    let mut state = by_hand(80, 24);
    types(&mut state, "rail off");
    keys(&mut state, &[Key::Char('r')]);
    let mut core = looked(80, 24, true, false).core;
    core.doing = Doing::Nothing;
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(state.dialog.is_none(), "a line is being typed");
    assert!(text(&state).contains("it opens once you leave the console"), "{}", text(&state));
    // The end of that line is no end of the work: what is typed next is for the console.
    types(&mut state, "ail off");
    assert!(state.dialog.is_none() && state.console.line.is_empty());
    keys(&mut state, &[Key::Char('l'), Key::Esc]);
    assert!(state.dialog.is_none(), "still there");
    keys(&mut state, &[Key::Esc]);
    assert!(matches!(state.dialog, Some(Dialog::Unfinished { .. })));
}

#[test]
fn enter_leads_from_a_plan_to_nothing() {
    let mut state = reviewing(80, 24);
    assert!(keys(&mut state, &[Key::Enter, Key::Enter]).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Review { .. })), "{:?}", state.dialog);
    keys(&mut state, &[Key::Char('w')]);
    assert!(matches!(state.dialog, Some(Dialog::Confirm { .. })));
}

#[test]
fn an_erase_alone_is_not_called_programming() {
    for (erased, blanked, words) in [
        (1, 1, "1 sector erased and left blank"),
        (3, 1, "2 sectors erased and programmed, 1 sector erased and left blank"),
        (2, 0, "2 sectors erased and programmed"),
    ] {
        let mut state = reviewing(100, 30);
        let (programmed, whole) = (0, true);
        let facts =
            crate::app::workbench::PlanFacts { erased, blanked, programmed, whole, ..facts() };
        state.core.plan = Some(std::sync::Arc::new(facts));
        keys(&mut state, &[Key::Char('w')]);
        let shown = text(&state).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(shown.contains(&format!("into store: {words} way back")), "{shown}");
    }
}

#[test]
fn a_new_plan_or_the_unfinished_write_is_a_choice() {
    let mut state = looked(80, 24, true, false);
    keys(&mut state, &[Key::Esc]);
    state.cautioned = true;
    let mut core = state.core.clone();
    let newer = crate::app::workbench::PlanFacts { code: Some("2ABCDE".into()), ..facts() };
    core.plan = Some(std::sync::Arc::new(newer));
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    keys(&mut state, &[Key::Esc, Key::Char('w')]);
    assert!(matches!(state.dialog, Some(Dialog::Unfinished { at: 1 })));
    let mut other = looked(80, 24, true, false);
    other.core.plan.clone_from(&state.core.plan);
    keys(&mut state, &[Key::Enter]);
    assert!(text(&state).contains("is given up"), "{}", text(&state));
    let plan = write_of(&types(&mut state, LABEL));
    assert!(matches!(plan, WriteOptions::Plan { code, .. } if code == "2ABCDE"));
    other.cautioned = true;
    keys(&mut other, &[Key::Up, Key::Enter]);
    assert_eq!(write_of(&types(&mut other, LABEL)), WriteOptions::Resume);
}

#[test]
fn one_key_stops_a_write_from_anywhere() {
    let everywhere: [fn(&mut State); 4] = [
        |_| (),
        |state| drop(keys(state, &[Key::Char('e')])),
        |state| drop(keys(state, &[Key::Char('2'), Key::Enter])),
        |state| drop(keys(state, &[Key::Char('4'), Key::Char('x')])),
    ];
    for place in everywhere {
        let mut state = writing(80, 24);
        place(&mut state);
        assert_eq!(stops(&keys(&mut state, &[Key::Ctrl('c')])), 1);
        assert!(state.dialog.is_none());
        let shown = text(&state);
        assert!(shown.lines().next().unwrap().contains("STOPPING after this sector"), "{shown}");
    }
    for make in [|| looked(80, 24, true, true), || looked(80, 24, false, true)] {
        let mut state = make();
        keys(&mut state, &[Key::Ctrl('c')]);
        assert!(!matches!(state.dialog, Some(Dialog::Unfinished { .. })));
    }
}

#[test]
fn a_write_that_was_stopped_says_how_it_goes_on() {
    let mut state = writing(80, 24);
    let mut core = ended(80, 24, false).core;
    let mut end = core.write_end.as_deref().unwrap().clone();
    end.code = 130;
    core.write_end = Some(std::sync::Arc::new(end));
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert!(state.dialog.is_none(), "who has stopped it knows");
    assert!(text(&state).contains("w goes on with it"));
    let state = ended(80, 24, false);
    assert!(matches!(state.dialog, Some(Dialog::WriteEnd)));
    assert!(text(&state).contains("is NOT on the module"));
}

#[test]
fn while_a_job_runs_nothing_else_is_begun() {
    let mut state = writing(80, 24);
    for key in ['n', 'w', 'k', 'i'] {
        assert!(keys(&mut state, &[Key::Char(key)]).is_empty() && state.dialog.is_none(), "{key}");
        assert!(state.notice.as_deref().unwrap().contains("a job runs"), "{key}");
    }
}

#[test]
fn leave_is_in_the_status_line_while_it_lasts_and_changes_by_fives() {
    let mut state = writing(80, 24);
    let first = |state: &State| text(state).lines().next().unwrap().to_string();
    assert!(first(&state).contains("WRITES ALLOWED 45 s"), "{}", first(&state));
    let mut seen = 0;
    while let Some(at) = state.changes_at() {
        send(&mut state, Msg::Tick(at));
        seen += 1;
    }
    assert!(seen <= 13, "{seen}");
    assert!(first(&state).contains("WRITES LOCKED"));
    let mut state = writing(80, 24);
    state.core.leave = state.core.leave.map(|mut leave| {
        leave.until = state.now + Duration::from_secs(1);
        leave
    });
    assert!(first(&state).contains("WRITES ALLOWED 1 s"));
}

#[test]
fn the_view_of_the_map_follows_the_work_and_a_key() {
    let mut state = connected(80, 24);
    keys(&mut state, &[Key::Char('2'), Key::Char('x')]);
    assert!(state.notice.is_some() && state.view() == View::Copy);
    let mut state = writing(80, 24);
    keys(&mut state, &[Key::Char('2')]);
    for view in [View::Copy, View::Plan, View::Write] {
        keys(&mut state, &[Key::Char('x')]);
        assert_eq!(state.view(), view);
    }
    let mut core = state.core.clone();
    core.doing = Doing::Job("capture");
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert_eq!(state.view(), View::Copy);
}

#[test]
fn the_key_strip_follows_the_stages() {
    let strip = |state: &State| text(state).lines().last().unwrap().to_string();
    let mut state = connected(80, 24);
    assert!(strip(&state).contains("LOOK i identify") && strip(&state).contains("PLAN n plan"));
    assert!(!strip(&state).contains("WRITE"), "nothing is to be written yet");
    state = reviewing(80, 24);
    keys(&mut state, &[Key::Esc]);
    assert!(strip(&state).contains("rail off  WRITE w write"), "{}", strip(&state));
    state = ended(80, 24, true);
    keys(&mut state, &[Key::Enter]);
    assert!(strip(&state).contains("rail off  PROVE v verify"), "{}", strip(&state));
    // Where there is room for all, nothing moves.
    state = reviewing(132, 40);
    keys(&mut state, &[Key::Esc]);
    let all = strip(&state);
    let at = |stage| all.find(stage).unwrap_or_else(|| panic!("{stage}: {all}"));
    assert!(at("LOOK") < at("KEEP") && at("KEEP") < at("PLAN") && at("PLAN") < at("WRITE"));
    assert!(at("WRITE") < at("PROVE"));
}
