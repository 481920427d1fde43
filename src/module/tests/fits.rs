//! What a sheet means on a board, and what is refused there.

use super::{WHOLE, board, whole, with};
use crate::bus::{Levels, Phases, ShapeId, ShapeTimes, Width};
use crate::module::fit::NoWrite;
use crate::module::{AdapterSheet, Board, FitError, Sheet, SpaceAccess, builtin, plan_access};

const OE: u16 = 1;
const WE: u16 = 2;
const CS0: u16 = 4;
const CS1: u16 = 8;
const NAMES: [&str; 4] = ["OE", "WE", "CS0", "CS1"];

fn low(mask: u16) -> Levels {
    Levels { mask, level: 0 }
}

fn sheet(text: &str) -> Sheet {
    Sheet::parse("t.toml", text).unwrap()
}

/// The refusal's sentence and whether it is one for safety.
fn refused(sheet: &Sheet, adapter: Option<&AdapterSheet>, board: &Board) -> (String, bool) {
    let error = plan_access(sheet, adapter, board).unwrap_err();
    (error.to_string(), error.is_safety())
}

#[test]
fn tg_7_on_a_board_with_its_lines() {
    let tg7 = sheet(builtin("tg-7").unwrap());
    let access = plan_access(&tg7, None, &board(32, 19, &NAMES)).unwrap();
    let idle = Levels { mask: 0xF, level: 0xF };
    let [store, records] = access.as_slice() else { panic!("two spaces") };
    for (one, select) in [(store, CS0), (records, CS1)] {
        let shape = one.shape;
        assert_eq!((shape.width, shape.first_line, shape.idle), (Width::W32, 0, idle));
        assert_eq!(shape.read, Phases { setup: low(select), strobe: low(OE) });
        assert_eq!(shape.write, Some(Phases { setup: low(select), strobe: low(WE) }));
        assert_eq!(one.no_write, None);
    }
    let times = ShapeTimes { setup: 100, pulse: 150, hold: 100, recover: 100, release: 200 };
    assert_eq!(store.shape.times, times);
    assert_eq!(store.slow.times, ShapeTimes { pulse: 300, ..times });
    assert_eq!((store.id, store.slow_id), (ShapeId(0), ShapeId(1)));
    assert_eq!((records.id, records.slow_id), (ShapeId(2), ShapeId(3)));
    assert_eq!(records.shape.times.pulse, 500);
}

#[test]
fn tg_7b_on_the_same_board_with_more_address_lines() {
    let tg7b = sheet(builtin("tg-7b").unwrap());
    let access = plan_access(&tg7b, None, &board(32, 21, &NAMES)).unwrap();
    assert_eq!(access.len(), 1);
    assert_eq!(access[0].shape.width, Width::W16);
    assert_eq!(access[0].shape.idle, Levels { mask: 7, level: 7 });
    assert!(access[0].shape.write.is_some());
}

#[test]
fn the_boards_shortest_times_hold() {
    let mut slow = board(16, 8, &NAMES);
    slow.shortest = ShapeTimes { setup: 500, pulse: 600, hold: 700, recover: 800, release: 900 };
    let access = plan_access(&whole(), None, &slow).unwrap();
    assert_eq!(access[0].shape.times, slow.shortest);
    assert_eq!(access[0].slow.times.pulse, 1200);
    slow.shortest.pulse = 32_768;
    let (said, safety) = refused(&whole(), None, &slow);
    assert!(said.starts_with("space `one` needs a strobe of 65536 ns at twice its access"));
    assert!(!safety);
}

#[test]
fn too_few_lines_are_named() {
    for (board, said) in [
        (board(8, 8, &NAMES), "needs 16 data lines, the board has 8: D8-D15 missing"),
        (board(15, 8, &NAMES), "needs 16 data lines, the board has 15: D15 missing"),
        (board(16, 6, &NAMES), "needs 8 address lines, the board has 6: A6-A7 missing"),
        (
            board(16, 8, &NAMES[..3]),
            "line CS1 needs a control line `CS1` of the board, which has OE, WE, CS0",
        ),
        (board(16, 8, &[]), "of the board, which has none"),
    ] {
        let (text, safety) = refused(&whole(), None, &board);
        assert!(text.contains(said), "{text}");
        assert!(!safety);
    }
}

#[test]
fn two_slots_a_space() {
    let mut small = board(16, 8, &NAMES);
    small.shape_slots = 3;
    let (said, safety) = refused(&whole(), None, &small);
    assert!(said.contains("has 2 spaces and needs 4 shape slots, two each; the board has 3"));
    assert!(!safety);
    small.shape_slots = 4;
    assert!(plan_access(&whole(), None, &small).is_ok());
}

#[test]
fn a_board_must_name_at_most_16_lines_and_each_once() {
    let many: Vec<String> = (0..40).map(|n| format!("X{n}")).collect();
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    assert!(refused(&whole(), None, &board(16, 8, &many)).0.contains("reports 40 control lines"));
    let twice = board(16, 8, &["OE", "WE", "CS0", "CS1", "OE"]);
    let (said, safety) = refused(&whole(), None, &twice);
    assert!(said.contains("`OE` twice") && safety);
}

#[test]
fn selects_must_be_pulled_to_their_inactive_level() {
    let high = sheet(&with("CS0 = \"low\"", "CS0 = \"high\""));
    let mut wired = board(16, 8, &NAMES);
    let (said, safety) = refused(&high, None, &wired);
    assert!(
        said.starts_with(
            "select CS0 of space `one` is active high, and the board pulls its line CS0 high"
        ),
        "{said}"
    );
    assert!(safety);
    wired.control[2].pulled_down = true;
    let access = plan_access(&high, None, &wired).unwrap();
    assert_eq!(access[0].shape.idle, Levels { mask: 0xF, level: OE | WE | CS1 });
    assert_eq!(access[0].shape.read.setup, Levels { mask: CS0, level: CS0 });
    assert_eq!(access[1].shape.idle, access[0].shape.idle);
    let (said, safety) = refused(&whole(), None, &wired);
    assert!(said.contains("is active low, and the board pulls its line CS0 low"), "{said}");
    assert!(safety);
}

#[test]
fn write_strobes_must_not_be_pulled_active() {
    let mut wired = board(16, 8, &NAMES);
    wired.control[1].pulled_down = true;
    let (said, safety) = refused(&whole(), None, &wired);
    assert!(said.contains("every write strobe of space `one` (WE)") && safety, "{said}");
}

#[test]
fn a_read_that_moves_a_write_strobe_is_refused_for_safety() {
    let mut wired = board(16, 8, &NAMES);
    wired.control[0].write_strobe = true;
    let (said, safety) = refused(&whole(), None, &wired);
    assert!(said.contains("the shape of space `one` is refused: a read moves control line 0"));
    assert!(safety);
}

#[test]
fn a_read_that_another_space_takes_for_a_write_is_refused() {
    let text = with("read = { OE = \"low\" }", "read = { OE = \"low\", X = \"low\" }")
        .replace("battery = false", "write = { X = \"low\" }")
        .replace("select = { CS1 = \"low\" }\n", "select = { CS0 = \"low\" }\nbase = 0x60\n");
    let wired = board(16, 8, &["OE", "WE", "CS0", "X"]);
    let error = plan_access(&sheet(&text), None, &wired).unwrap_err();
    let (read, written) = ("one".to_owned(), "two".to_owned());
    assert_eq!(error, FitError::ReadWritesOther { read, written });
    assert!(error.is_safety());
}

#[test]
fn a_bank_line_rests_where_the_board_pulls_it() {
    let text = with("select = { CS0 = \"low\" }", "select = { CS0 = \"low\", CS1 = \"low\" }")
        .replace("select = { CS1 = \"low\" }", "select = { CS0 = \"low\", CS1 = \"high\" }");
    let mut wired = board(16, 8, &NAMES);
    for (down, level) in [(false, CS1), (true, 0)] {
        wired.control[3].pulled_down = down;
        let access = plan_access(&sheet(&text), None, &wired).unwrap();
        assert_eq!(access[0].shape.idle.level, OE | WE | CS0 | level);
        assert_eq!(access[0].shape.idle, access[1].shape.idle);
    }
}

#[test]
fn a_read_write_line_with_a_strobe_works() {
    let text = with("read = { OE = \"low\" }", "read = { WE = \"high\", OE = \"low\" }")
        .replace("write = { WE = \"low\" }", "write = { WE = \"low\", OE = \"low\" }");
    let access = plan_access(&sheet(&text), None, &board(16, 8, &NAMES)).unwrap();
    assert_eq!(access[0].shape.reading().level & (OE | WE), WE);
    assert_eq!(access[0].shape.writing().unwrap().level & (OE | WE), 0);
}

#[test]
fn a_rom_and_an_untraced_pin_leave_no_write_phases() {
    let writes = |access: &SpaceAccess| access.shape.write.or(access.slow.write).is_some();
    let wired = board(16, 8, &NAMES);
    let rom = with("kind = \"ram\"", "kind = \"rom\"").replace("battery = false", "");
    let access = plan_access(&sheet(&rom), None, &wired).unwrap();
    assert!(writes(&access[0]) && !writes(&access[1]));
    assert_eq!(access[1].no_write, Some(NoWrite::Rom { space: "two".into() }));
    let access = plan_access(&sheet(&with("\"A0\"", "\"?\"")), None, &wired).unwrap();
    for one in &access {
        assert!(!writes(one));
        let why = one.no_write.as_ref().unwrap().to_string();
        assert!(why.contains("pins of module `T` are not traced (J1-2)"), "{why}");
    }
    assert!(plan_access(&sheet(WHOLE), None, &wired).unwrap().iter().all(writes));
}
