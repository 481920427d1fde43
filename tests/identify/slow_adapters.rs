//! Adapters that are too slow for page-write parts, or do not say how quick they are.

use super::{Made, Rig, chips, report, shape};
use buswright::bus::{Millivolts, Nanos, Width, WordAddress};
use buswright::sim::{Bench, BenchDescription};
use serde_json::json;

/// The rig with the protection of its page-write chips switched off: each of them takes a lone write
/// for a page.
pub fn unprotected(made: &Made, edit: impl FnOnce(&mut BenchDescription)) -> Rig {
    let mut rig = Rig::new(made);
    edit(&mut rig.description);
    let mut module = rig.description.module(1);
    module.power(Nanos::ZERO, Millivolts(3300));
    assert!(module.set_contents("store", &rig.contents()));
    let flash = shape(Width::W32);
    for (at, byte) in [
        (0x5555, 0xAA),
        (0x2AAA, 0x55),
        (0x5555, 0x80),
        (0x5555, 0xAA),
        (0x2AAA, 0x55),
        (0x5555, 0x20),
    ] {
        module.write(&flash, WordAddress(at), byte * 0x0101_0101);
    }
    module.delay(Nanos::from_millis(50));
    module.power(Nanos::from_millis(60), Millivolts(0));
    rig.port = buswright::app::SimPort::new(Bench::with_socket(&rig.description, module, 1));
    rig
}

/// Write cycles that the chips have seen, and those that the adapter has made.
fn writes(rig: &Rig) -> (Vec<u64>, u64) {
    let adapter = rig.port.bench().adapter();
    let chips = adapter.socket().chips("store");
    (chips.iter().map(|chip| chip.books().writes).collect(), adapter.books().words_written)
}

#[test]
fn where_page_write_parts_may_be_nothing_is_sent_without_a_promise() {
    let no_promise = |bench: &mut BenchDescription| bench.adapter.promises = false;
    let slow = |bench: &mut BenchDescription| bench.adapter.clock_hz = 8_000_000;
    let named = "no command was sent: a page-write part";
    let unknown = "no command was sent, since the sheet names no family";
    let (none, some) = ("this adapter promises no time", "this adapter promises 2");
    for (family, edit, begins, says) in [
        ("page", no_promise as fn(&mut BenchDescription), named, none),
        ("", no_promise, unknown, none),
        ("page", slow, named, some),
        ("", slow, unknown, some),
    ] {
        let mut rig = unprotected(&Made::of("AT29C040A", 8, (32, 0x8_0000), family), edit);
        let (before, books) = (rig.contents(), writes(&rig));
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{family}: {}", run.words());
        let notes = report(&run)["spaces"][0]["notes"].to_string();
        assert!(notes.contains(begins) && notes.contains(says), "{family}: {notes}");
        assert!(notes.contains("use an adapter that is quick enough"), "{notes}");
        assert_eq!(notes.contains("name their family in the sheet"), family.is_empty(), "{notes}");
        assert_eq!(report(&run)["captured"], json!([]), "{family}");
        assert_eq!(writes(&rig), books, "{family}");
        rig.assert_unharmed(&before);
    }
}

/// Chips of 512 KiB in a space that the sheet takes to be twice as large: they show their first words
/// again.
#[test]
fn a_sheet_that_gives_too_many_words_is_not_believed() {
    for family in ["page", ""] {
        let mut made = Made::of("AT29C040A", 8, (32, 0x8_0000), family);
        let mut rig = unprotected(&made, |bench| bench.adapter.promises = false);
        made.size = (32, 0x10_0000);
        std::fs::write(rig.wanted.sheet.as_ref().unwrap(), made.sheet()).unwrap();
        let (before, books) = (rig.contents(), writes(&rig));
        let run = rig.identify();
        let notes = report(&run)["spaces"][0]["notes"].to_string();
        assert!(notes.contains("no command was sent"), "{family}: {}", run.words());
        assert_eq!(writes(&rig), books, "{family}");
        rig.assert_unharmed(&before);
    }
}

/// A sheet without `chips` has one on all 32 lines, and no chip is so wide.
#[test]
fn chips_of_which_nobody_knows_the_lanes_get_no_command() {
    for family in ["page", ""] {
        let made = Made::of("AT29C040A", 8, (32, 0x8_0000), family);
        let mut rig = unprotected(&made, |_| ());
        let sheet = made.sheet();
        let (without, _) = sheet.split_once("chips = ").unwrap();
        std::fs::write(rig.wanted.sheet.as_ref().unwrap(), without).unwrap();
        let (before, books) = (rig.contents(), writes(&rig));
        let run = rig.identify();
        let notes = report(&run)["spaces"][0]["notes"].to_string();
        assert!(notes.contains("a chip has 8 or 16 data lines"), "{family}: {}", run.words());
        assert_eq!(writes(&rig), books, "{family}");
        rig.assert_unharmed(&before);
    }
}

/// Two chips of 8 lines that the sheet takes for one of 16 get the same commands.
#[test]
fn chips_side_by_side_that_the_sheet_takes_for_one_lose_no_page() {
    for family in ["page", ""] {
        let mut made = Made::of("AT29C040A", 8, (32, 0x8_0000), family);
        let mut rig = unprotected(&made, |_| ());
        made.lane = 16;
        std::fs::write(rig.wanted.sheet.as_ref().unwrap(), made.sheet()).unwrap();
        let before = rig.contents();
        let run = rig.identify();
        assert!(run.outcome.code <= 1, "{family}: {}", run.words());
        rig.assert_unharmed(&before);
    }
}

/// Named families have no such window, and no page-write part is as large as these chips.
#[test]
fn others_are_asked_by_any_adapter() {
    for (chip, lane, size, family) in [
        ("Am29LV040B", 8, (32, 0x8_0000), "amd"),
        ("SST39VF040", 8, (32, 0x8_0000), "jedec"),
        ("28F320J3A", 16, (32, 0x20_0000), "intel"),
        ("S29AL008J", 16, (32, 0x8_0000), ""),
        ("S29AL008J", 8, (32, 0x10_0000), ""),
    ] {
        let mut rig = Rig::new(&Made::of(chip, lane, size, family));
        rig.description.adapter.promises = false;
        let contents = rig.contents();
        rig.port = buswright::app::SimPort::new(Bench::new(&rig.description, 1));
        let socket = rig.port.bench_mut().adapter_mut().socket_mut();
        assert!(socket.set_contents("store", &contents));
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{chip}: {}", run.words());
        assert_eq!(chips(&run)[0]["answered"], json!(true), "{chip}: {}", run.words());
        rig.assert_unharmed(&contents);
    }
}
