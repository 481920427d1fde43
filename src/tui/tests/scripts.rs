//! Keys in, state and effects out.

use super::fixture::*;
use super::write_fixture::{looked, reviewing, writing};
use crate::app::workbench::{Answer, Command, Doing, Item, Leave, Order, Phase, Rail, Tone};
use crate::bus::WordAddress;
use crate::chips::{Act, Verdict};
use crate::tui::console::grammar::{Ask, Cycle, VERBS, complete, parse};
use crate::tui::dialogs::{Dialog, LeaveForm};
use crate::tui::keys::Key;
use crate::tui::line_edit::LineEdit;
use crate::tui::msg::{Effect, Msg};
use crate::tui::state::{Pane, State, Zoom};
use std::time::Duration;

pub fn sends(effects: &[Effect]) -> Vec<&Command> {
    effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Send(command) => Some(command),
            _ => None,
        })
        .collect()
}

pub fn stops(effects: &[Effect]) -> usize {
    effects.iter().filter(|effect| matches!(effect, Effect::Stop)).count()
}

fn order(effects: &[Effect]) -> Option<Order> {
    match sends(effects)[..] {
        [Command::Order(order)] => Some(order.clone()),
        _ => None,
    }
}

#[test]
fn panes_are_reached_by_tab_and_by_number() {
    let mut state = connected(80, 24);
    for pane in [Pane::Map, Pane::Log, Pane::Console, Pane::Connection] {
        keys(&mut state, &[Key::Tab]);
        assert_eq!(state.focus, pane);
    }
    keys(&mut state, &[Key::BackTab]);
    assert_eq!(state.focus, Pane::Console);
    keys(&mut state, &[Key::Char('2')]);
    assert_eq!(state.console.line.text(), "2", "in the console a number is a number");
    keys(&mut state, &[Key::Esc, Key::Esc, Key::Char('3')]);
    assert_eq!(state.focus, Pane::Log);
}

#[test]
fn a_capture_begins_after_the_cautions_and_only_once_for_a_connection() {
    let mut state = connected(80, 24);
    assert!(keys(&mut state, &[Key::Char('k')]).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Cautions { then: Some(_), .. })));
    assert!(keys(&mut state, &[Key::Esc]).is_empty());
    keys(&mut state, &[Key::Char('k')]);
    let begun = keys(&mut state, &[Key::Enter]);
    assert!(matches!(sends(&begun)[..], [Command::Run("capture", _)]));
    let again = keys(&mut state, &[Key::Char('v')]);
    assert!(matches!(sends(&again)[..], [Command::Run("verify", _)]));
    // Another connection may be another module.
    state.port = "sim".into();
    keys(&mut state, &[Key::Char('c')]);
    state.core.phase = Phase::default();
    let connects = keys(&mut state, &[Key::Char('c')]);
    assert!(matches!(sends(&connects)[..], [Command::Connect(..)]));
    assert!(!state.cautioned);
}

#[test]
fn without_a_connection_nothing_is_begun_and_it_is_said() {
    let mut state = closed(80, 24);
    for key in ['k', 'v', 'r', 'l'] {
        assert!(keys(&mut state, &[Key::Char(key)]).is_empty());
        assert!(state.notice.as_deref().unwrap_or_default().contains("connects"), "{key}");
    }
}

#[test]
fn one_key_stops_from_anywhere() {
    let everywhere: [fn(&mut State); 6] = [
        |_| (),
        |state| state.focus = Pane::Console,
        |state| state.dialog = Some(Dialog::Measured),
        |state| state.dialog = Some(Dialog::Help { pane: Pane::Map, down: 3 }),
        |state| state.dialog = Some(Dialog::Specimen(LineEdit::default())),
        |state| state.dialog = Some(Dialog::Quit),
    ];
    for place in everywhere {
        let mut state = capturing(80, 24);
        place(&mut state);
        assert_eq!(stops(&keys(&mut state, &[Key::Ctrl('c')])), 1);
        assert!(state.dialog.is_none());
        let status = text(&state);
        assert!(status.lines().next().unwrap().contains("STOPPING, up to 3 s"), "{status}");
    }
}

#[test]
fn a_second_stop_is_urgent_within_five_seconds_only() {
    let mut state = capturing(80, 24);
    let stop = |state: &mut State| stops(&keys(state, &[Key::Ctrl('c')]));
    assert_eq!(stop(&mut state), 1);
    let later = state.now + Duration::from_secs(4);
    send(&mut state, Msg::Tick(later));
    assert_eq!(stop(&mut state), 1);
    let later = state.now + Duration::from_secs(6);
    send(&mut state, Msg::Tick(later));
    assert_eq!(stop(&mut state), 0, "it counts as a first one, and that was asked");
    assert_eq!(stop(&mut state), 1);
}

#[test]
fn the_end_waits_for_the_rail() {
    let mut state = connected(80, 24);
    let ends = keys(&mut state, &[Key::Char('q')]);
    assert!(matches!(sends(&ends)[..], [Command::Quit]) && state.leaving);
    let mut state = capturing(80, 24);
    assert!(keys(&mut state, &[Key::Char('q')]).is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Quit)));
    keys(&mut state, &[Key::Esc]);
    assert!(!state.leaving);
    let ends = keys(&mut state, &[Key::Char('q'), Key::Enter]);
    assert_eq!(stops(&ends), 1);
    assert!(matches!(sends(&ends)[..], [Command::Quit]) && state.leaving);
    // A signal has told the core by itself: asked twice, the stop would be an urgent one.
    let mut state = capturing(80, 24);
    let ends = send(&mut state, Msg::End);
    assert_eq!((stops(&ends), sends(&ends).len(), state.leaving), (0, 0, true));
    assert!(text(&state).contains("STOPPING, up to 3 s"));
}

#[test]
fn suspending_is_refused_while_the_rail_may_be_on() {
    let mut state = connected(80, 24);
    assert!(matches!(keys(&mut state, &[Key::Ctrl('z')])[..], [Effect::Suspend]));
    for mut state in [capturing(80, 24), by_hand(80, 24)] {
        assert!(keys(&mut state, &[Key::Ctrl('z')]).is_empty());
        assert!(state.notice.as_deref().unwrap().contains("not while"));
    }
    state.core.rail = Rail::Unknown;
    assert!(keys(&mut state, &[Key::Ctrl('z')]).is_empty());
}

#[test]
fn the_map_moves_and_zooms() {
    let mut state = capturing(80, 24);
    keys(&mut state, &[Key::Char('2'), Key::Right, Key::Right]);
    assert_eq!((state.map.space, state.map.block), (0, 2));
    keys(&mut state, &[Key::Down]);
    assert_eq!((state.map.space, state.map.block), (1, 2));
    keys(&mut state, &[Key::Down, Key::Right, Key::Right, Key::Right]);
    assert_eq!((state.map.space, state.map.block), (1, 3), "no further than the last");
    keys(&mut state, &[Key::Up, Key::End, Key::Enter, Key::Enter]);
    assert_eq!((state.map.zoom, state.map.word), (Zoom::Words, 31 * 0x4000));
    assert_eq!(state.wanted_page().unwrap().2, 31 * 0x4000);
    keys(&mut state, &vec![Key::PageDown; 9_000]);
    let page = state.map.word;
    assert!(page < 0x8_0000 && page > 0x7_FF00, "{page:X}");
    keys(&mut state, &[Key::Esc]);
    assert_eq!((state.map.zoom, state.map.block), (Zoom::Blocks, 31));
    keys(&mut state, &[Key::Esc, Key::Esc]);
    assert_eq!(state.map.zoom, Zoom::Module);
    // A smaller module: the cursor is not left outside.
    let mut core = ready();
    core.map.truncate(1);
    core.map[0].cells.truncate(1);
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    assert_eq!((state.map.space, state.map.block), (0, 0));
}

#[test]
fn the_log_scrolls_and_stays_where_somebody_reads() {
    let mut state = connected(80, 24);
    let lines = (0..50).map(|n| line("14:00:00", Tone::Plain, &format!("line {n}"))).collect();
    send(&mut state, Msg::Core(Box::new(ready()), lines));
    keys(&mut state, &[Key::Char('3'), Key::PageUp]);
    let before = text(&state);
    assert!(before.contains("newer below") && !before.contains("line 49"));
    let more = vec![line("14:00:01", Tone::Plain, "line 50")];
    send(&mut state, Msg::Core(Box::new(ready()), more));
    let seen = |text: &str| -> Vec<String> {
        text.lines().filter(|line| line.contains("line ")).map(str::to_string).collect()
    };
    assert_eq!(seen(&text(&state)), seen(&before));
    keys(&mut state, &[Key::Home]);
    assert!(text(&state).contains("adapter bench:TG-7"));
    keys(&mut state, &[Key::End]);
    assert!(text(&state).contains("line 50"));
}

#[test]
fn lines_of_the_console_become_orders() {
    let mut state = by_hand(80, 24);
    let at = WordAddress(0x1F00);
    let read = Order::Read { space: 0, address: at };
    assert_eq!(order(&types(&mut state, "store 1F00 ?")), Some(read.clone()));
    assert_eq!(order(&keys(&mut state, &[Key::Enter])), Some(read), "an empty line repeats");
    let next = Order::Read { space: 0, address: WordAddress(0x1F01) };
    assert_eq!(order(&keys(&mut state, &[Key::Char('+')])), Some(next));
    keys(&mut state, &[Key::Char('-'), Key::Char('-')]);
    assert_eq!(state.console.last.unwrap().address, WordAddress(0x1EFF));
    let hold = Order::Hold { space: 1, address: WordAddress(0x10), value: None };
    assert_eq!(order(&types(&mut state, "hold rec 10 ?")), Some(hold));
    assert_eq!(order(&types(&mut state, "let go")), Some(Order::LetGo));
    assert_eq!(order(&types(&mut state, "lines ?")), Some(Order::Lines));
    let off = types(&mut state, "rail off");
    assert!(matches!(sends(&off)[..], [Command::RailOff]));
    assert!(types(&mut state, "nonsense").is_empty());
    assert!(text(&state).contains("'nonsense' means nothing here"));
    keys(&mut state, &[Key::Up, Key::Up]);
    assert_eq!(state.console.line.text(), "rail off");
    keys(&mut state, &[Key::Down, Key::Down]);
    assert!(state.console.line.is_empty());
}

#[test]
fn a_write_asks_for_leave_and_is_made_once_there_is_leave() {
    let mut state = by_hand(80, 24);
    assert!(types(&mut state, "records 10 = 1234ABCD").is_empty());
    assert!(matches!(state.dialog, Some(Dialog::Leave(LeaveForm { space: 1, .. }))));
    keys(&mut state, &[Key::Right]);
    let asks = types(&mut state, "allow");
    assert_eq!(order(&asks), Some(Order::Allow { space: 1, seconds: 120, changes: None }));
    let write = Order::Write { space: 1, address: WordAddress(0x10), value: 0x1234_ABCD };
    let core = state.core.clone();
    let refused = vec![Item::Answer(Answer::Refused("capture first".into()))];
    let then = send(&mut state, Msg::Core(Box::new(core.clone()), refused));
    assert!(then.is_empty() && state.after_leave.is_none());
    types(&mut state, "records 10 = 1234ABCD");
    types(&mut state, "allow");
    let mut leave = core;
    leave.leave = Some(Leave { space: Some(1), until: state.now + Duration::from_secs(60) });
    let given = vec![Item::Answer(Answer::Allowed { space: 1, seconds: 60, changes: None })];
    let then = send(&mut state, Msg::Core(Box::new(leave), given));
    assert_eq!(order(&then), Some(write.clone()));
    assert!(text(&state).contains("WRITES ALLOWED 60 s"));
    assert_eq!(order(&types(&mut state, "records 10 = 1234ABCD")), Some(write));
    let later = state.now + Duration::from_secs(58);
    send(&mut state, Msg::Tick(later));
    assert_eq!(state.leave_left(), Some(2));
    let over = state.now + Duration::from_secs(3);
    send(&mut state, Msg::Tick(over));
    assert!(text(&state).contains("WRITES LOCKED") && state.changes_at().is_none());
    assert!(types(&mut state, "records 10 = 1").is_empty() && state.dialog.is_some());
}

#[test]
fn a_write_that_changes_a_chip_asks_with_its_sector_as_the_window() {
    let mut state = by_hand(80, 24);
    state.core.map[0].sectors = vec![0, 0x2000, 0x3000];
    state.core.leave = Some(Leave { space: Some(0), until: state.now + Duration::from_secs(60) });
    let at = WordAddress(0x2345);
    let write = Order::Write { space: 0, address: at, value: 0xFFFF_0030 };
    assert_eq!(order(&types(&mut state, "store 2345 = FFFF0030")), Some(write.clone()));
    let (act, command) = (Act::Erase, "erase of a sector");
    let verdict = Verdict { at: at.0, value: 0x30, act, command, ..Verdict::default() };
    let (core, value) = (state.core.clone(), 0xFFFF_0030);
    let asks = Item::Answer(Answer::Asks { space: 0, address: at, value, verdict });
    assert!(send(&mut state, Msg::Core(Box::new(core.clone()), vec![asks])).is_empty());
    let shown = text(&state);
    assert!(shown.contains("words 0x2000 to 0x2FFF of its chips"), "{shown}");
    assert!(shown.contains("30 at 0x2345 of U1 erases"), "{shown}");
    let changes = Some((WordAddress(0x2000), WordAddress(0x2FFF)));
    for no in ["", "allow", "TG-7 #0418"] {
        assert!(types(&mut state, no).is_empty(), "{no}");
        assert!(text(&state).contains("type TG-7 #0417"), "{}", text(&state));
        keys(&mut state, &[Key::Ctrl('u')]);
    }
    send(&mut state, Msg::Resize(60, 14));
    assert!(types(&mut state, "TG-7 #0417").is_empty());
    assert!(state.notice.as_deref().unwrap().contains("too small"), "{}", text(&state));
    send(&mut state, Msg::Resize(80, 24));
    let allow = keys(&mut state, &[Key::Enter]);
    assert_eq!(order(&allow), Some(Order::Allow { space: 0, seconds: 60, changes }));
    let given = Item::Answer(Answer::Allowed { space: 0, seconds: 60, changes });
    let then = send(&mut state, Msg::Core(Box::new(core), vec![given]));
    assert_eq!(order(&then), Some(write));
    let typed = Order::Allow { space: 0, seconds: 90, changes };
    assert!(types(&mut state, "writes store 2000-2FFF 90s").is_empty(), "it asks as well");
    let shown = text(&state);
    assert!(shown.contains("words 0x2000 to 0x2FFF of its chips"), "{shown}");
    assert!(shown.contains("may erase and program there"), "{shown}");
    assert!(keys(&mut state, &[Key::Enter]).is_empty());
    assert_eq!(order(&types(&mut state, "TG-7 #0417")), Some(typed));
    assert!(state.after_leave.is_none(), "nothing waits for it");
    assert!(types(&mut state, "writes store 2FFF-2000").is_empty());
    assert!(text(&state).contains("ends before it begins"));
}

#[test]
fn a_line_typed_ahead_gives_no_leave_and_stays_in_sight() {
    let mut state = by_hand(80, 24);
    types(&mut state, "records 10 = 1");
    assert!(types(&mut state, "records 11 ?").is_empty());
    let shown = text(&state);
    assert!(shown.contains("'records 11 ?' gives no leave, and nothing was sent"), "{shown}");
    assert!(keys(&mut state, &[Key::Enter, Key::Enter]).is_empty() && state.dialog.is_some());
    keys(&mut state, &[Key::Ctrl('u'), Key::Enter]);
    assert!(text(&state).contains("Enter alone gives no leave: type allow"));
    send(&mut state, Msg::Paste("allow".into()));
    assert!(text(&state).contains("a paste is not taken: type it"), "{}", text(&state));
    assert!(keys(&mut state, &[Key::Enter, Key::Esc]).is_empty() && state.dialog.is_none());
    // By its own line, too; without the rail the core says what is missing.
    let asks = |state: &mut State, line: &str| (types(state, line).len(), state.dialog.is_some());
    assert_eq!(asks(&mut state, "writes records 45"), (0, true));
    let allow = types(&mut state, "allow");
    assert_eq!(order(&allow), Some(Order::Allow { space: 1, seconds: 45, changes: None }));
    for (turn, seconds) in [(Key::Left, 30), (Key::Right, 60)] {
        types(&mut state, "writes records 45");
        keys(&mut state, &[turn]);
        let allow = types(&mut state, "allow");
        assert_eq!(order(&allow), Some(Order::Allow { space: 1, seconds, changes: None }));
    }
    state.core.doing = Doing::Nothing;
    assert_eq!(asks(&mut state, "writes records 45"), (1, false));
}

#[test]
fn the_leave_is_redrawn_every_five_seconds_until_it_is_nearly_over() {
    let mut state = by_hand(80, 24);
    state.core.leave = Some(Leave { space: Some(1), until: state.now + Duration::from_secs(60) });
    let (mut drawn, mut shown) = (0, Vec::new());
    while let Some(at) = state.changes_at() {
        assert!(at > state.now);
        send(&mut state, Msg::Tick(at));
        drawn += 1;
        shown.extend(state.leave_left());
    }
    assert!(drawn <= 17, "{drawn}");
    assert_eq!(shown[..3], [55, 50, 45]);
    assert_eq!(shown.last(), Some(&1));
}

#[test]
fn a_paste_runs_nothing_and_brings_no_control_characters() {
    let mut state = by_hand(80, 24);
    let effects = send(&mut state, Msg::Paste("rail off\r\nquit\u{1b}[A\n".into()));
    assert!(effects.is_empty());
    assert_eq!(state.console.line.text(), "rail off quit[A");
    keys(&mut state, &[Key::Esc, Key::Esc, Key::Char('m')]);
    send(&mut state, Msg::Paste("TG-7\t#0001\n".into()));
    let Some(Dialog::Specimen(line)) = &state.dialog else { panic!("{:?}", state.dialog) };
    assert!(line.text().ends_with("TG-7 #0001"));
}

#[test]
fn grammar_takes_any_clear_beginning() {
    let core = ready();
    let sheet = core.sheet.as_deref();
    let ask = |line: &str| parse(line, sheet);
    let cycle = |space, address, value, hold| {
        Ok(Ask::Cycle(Cycle { space, address: WordAddress(address), value, hold }))
    };
    assert_eq!(ask("s 1F00?"), cycle(0, 0x1F00, None, false));
    assert_eq!(ask("REC 0x10=dead_beef"), cycle(1, 0x10, Some(0xDEAD_BEEF), false));
    assert_eq!(ask("ho s 1 ?"), cycle(0, 1, None, true));
    assert_eq!(ask("w rec 30s"), Ok(Ask::Writes { space: 1, seconds: 30, changes: None }));
    assert_eq!(ask("let"), Ok(Ask::LetGo));
    assert_eq!(ask(""), Ok(Ask::Again));
    for (line, words) in [
        ("r 10 ?", "could be"),
        ("store 10", "a cycle is"),
        ("store xyz ?", "no hexadecimal"),
        ("store 1_0000_0000 ?", "no hexadecimal"),
        ("walk A3", "`hold SPACE ADDRESS ?` sets the address lines"),
        ("every 50us", "Enter on an empty line"),
        ("watch store 1F00", "shows the changed bits"),
        ("toggle D7 every 1ms", "`let go`"),
        ("play FILE", "each line is typed"),
        ("writes records 9999", "1 to 600"),
        ("rail", "say `rail on, rail off`"),
        ("hold", "a cycle is"),
    ] {
        let why = ask(line).unwrap_err();
        assert!(why.contains(words), "{line}: {why}");
    }
    assert!(parse("store 10 ?", None).unwrap_err().contains("connect first"));
    assert_eq!(complete("st", sheet), Ok("ore ".into()));
    assert_eq!(complete("hold rec", sheet), Ok("ords ".into()));
    assert_eq!(complete("r", sheet).unwrap_err(), ["rail", "records"]);
}

#[test]
fn every_form_of_the_grammar_is_understood() {
    let core = ready();
    for verb in VERBS {
        for form in verb.form.split(", ") {
            let line = form
                .replace("SPACE", "records")
                .replace("ADDRESS", "10")
                .replace("VALUE", "1")
                .replace("[FIRST-LAST]", "10-1F")
                .replace("[SECONDS]", "60");
            assert!(parse(&line, core.sheet.as_deref()).is_ok(), "{line}");
        }
    }
}

#[test]
fn random_keys_never_panic() {
    let all = [
        Key::Enter,
        Key::Esc,
        Key::Tab,
        Key::BackTab,
        Key::Backspace,
        Key::Delete,
        Key::Up,
        Key::Down,
        Key::Left,
        Key::Right,
        Key::Home,
        Key::End,
        Key::PageUp,
        Key::PageDown,
        Key::Ctrl('c'),
        Key::Ctrl('w'),
        Key::Ctrl('l'),
        Key::Ctrl('z'),
    ];
    let mut random = fastrand::Rng::with_seed(4);
    let asked = |width, height| looked(width, height, true, true);
    for make in [connected, capturing, by_hand, reviewing, writing, asked] {
        let mut state = make(80, 24);
        for n in 0..20_000 {
            let key = match random.usize(0..60) {
                at if at < all.len() => all[at],
                at if at < 40 => Key::Char(random.char(' '..='~')),
                _ => Key::Char(char::from(
                    random.choice(b"kvrlpsmcdoa?1234+-=").copied().unwrap_or(b'k'),
                )),
            };
            keys(&mut state, &[key]);
            state.leaving = false;
            if n % 97 == 0 {
                state.size = (random.u16(1..160), random.u16(1..60));
                text(&state);
            }
        }
        state.core.doing = Doing::Nothing;
        text(&state);
    }
}
