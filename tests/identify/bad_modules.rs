//! Modules that are not what the sheet says, chips that answer nonsense or nothing.

use super::slow_adapters::unprotected;
use super::{Made, Rig, chips, report, shape, warnings};
use buswright::bus::{Millivolts, Nanos, Width, WordAddress};
use buswright::sim::ChipState;
use serde_json::json;

/// A RAM that the sheet calls flash.
fn declared_flash(kind: &'static str, family: &str) -> Made {
    let of = Made::of("", 16, (32, 0x1_0000), family);
    Made { kind, memory: String::new(), ..of }
}

#[test]
fn a_ram_declared_flash_is_as_it_was() {
    for family in ["amd", "jedec", "intel", "page", ""] {
        let mut rig = Rig::new(&declared_flash("ram", family));
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 1, "{family}: {}", run.words());
        let said = warnings(&run).join("\n");
        assert!(said.contains("this is no flash") && said.contains("they read so again"), "{said}");
        let word = if family == "intel" { "0x0" } else { "555" };
        assert!(said.contains(word), "{said}");
        rig.assert_unharmed(&before);
        // One command, its restoring one, and no second: two words at most were written.
        let written = rig.port.bench().adapter().books().words_written;
        assert!(written <= 1 + 4, "{family}: {written} words written");
    }
}

/// Where a RAM happens to hold the first command already, the second one shows what it is.
#[test]
fn a_ram_that_holds_the_command_already() {
    let mut rig = Rig::new(&declared_flash("ram", "amd"));
    let mut before = rig.contents();
    before[0x555 * 4..][..4].copy_from_slice(&[0xAA, 0, 0xAA, 0]);
    rig.port.bench_mut().adapter_mut().socket_mut().set_contents("store", &before);
    let run = rig.identify();
    assert!(warnings(&run).join("\n").contains("this is no flash"), "{}", run.words());
    rig.assert_unharmed(&before);
}

#[test]
fn a_rom_declared_flash_answers_nothing() {
    for family in ["amd", ""] {
        let mut rig = Rig::new(&declared_flash("rom", family));
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 1, "{}", run.words());
        assert!(warnings(&run).join("\n").contains("no chip answered"), "{}", run.words());
        rig.assert_unharmed(&before);
    }
}

/// A page-write part whose protection is off takes any other sequence than its own for data.
#[test]
fn an_unprotected_page_part_keeps_its_pages() {
    for family in ["page", ""] {
        let made = Made::of("AT29C040A", 8, (32, 0x8_0000), family);
        let mut rig = unprotected(&made, |_| ());
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{family}: {}", run.words());
        assert_eq!(chips(&run)[0]["family"], json!("page"), "{}", run.words());
        assert_eq!(chips(&run)[3]["parts"], json!(["AT29C040A"]), "{}", run.words());
        rig.assert_unharmed(&before);
    }
}

#[test]
fn chips_side_by_side_that_are_not_the_same() {
    let mut made = Made::of("", 8, (16, 0x8_0000), "amd");
    made.memory = "chips = [\"Am29LV040B\", \"SST39VF040\"]".into();
    let mut rig = Rig::new(&made);
    let before = rig.contents();
    let run = rig.identify();
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    let said = warnings(&run).join("\n");
    assert!(said.contains("U2 did not answer") && said.contains("not the same"), "{said}");
    rig.assert_unharmed(&before);
}

#[test]
fn a_chip_that_answers_nonsense() {
    let mut made = Made::of("S29AL008J", 16, (32, 0x8_0000), "amd");
    made.memory += "\n[[chip_fault]]\nmemory = \"store\"\nchip = 1\nkind = \"nonsense\"\n";
    let mut rig = Rig::new(&made);
    let before = rig.contents();
    let run = rig.identify();
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    assert_eq!(chips(&run)[0]["parts"], json!(["Am29LV800BB"]), "{}", run.words());
    assert!(!warnings(&run).is_empty());
    rig.assert_unharmed(&before);
}

#[test]
fn nothing_where_the_sheet_has_a_flash() {
    let made = Made::of("Am29LV040B", 8, (8, 0x8_0000), "amd");
    let sheet = made.sheet().replace("CS0", "CS1");
    let mut rig = Rig::with_sheet(made.bench(), &sheet);
    let run = rig.identify();
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    let said = warnings(&run).join("\n");
    assert!(said.contains("nothing answers on D0-D7"), "{said}");
    assert_eq!(rig.port.bench().adapter().books().words_written, 0);
}

/// The chip was left in id mode by a host that died: a new session begins with the rail off.
#[test]
fn a_chip_left_in_a_mode() {
    let mut rig = Rig::new(&Made::of("S29AL008J", 16, (16, 0x8_0000), "amd"));
    let before = rig.contents();
    let flash = shape(Width::W16);
    let socket = rig.port.bench_mut().adapter_mut().socket_mut();
    socket.power(Nanos::ZERO, Millivolts(3300));
    for (at, word) in [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x90)] {
        socket.write(&flash, WordAddress(at), word);
    }
    assert_eq!(socket.chips("store")[0].state(), ChipState::Codes);
    socket.power(Nanos::ZERO, Millivolts(0));
    let run = rig.identify();
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    rig.assert_unharmed(&before);
}

#[test]
fn a_ram_space_is_only_asked_when_named() {
    let mut rig = Rig::builtin("TG-7");
    let records = |rig: &Rig| rig.port.bench().adapter().socket().contents("records").unwrap();
    let before = records(&rig);
    let run = rig.identify();
    assert_eq!(report(&run)["spaces"][1]["asked"], json!(null));
    rig.options.probe = Some("records".into());
    let run = rig.identify();
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    let said = report(&run)["spaces"][1]["warnings"][0].as_str().unwrap();
    assert!(said.contains("this is no flash, as the sheet says"), "{said}");
    assert!(records(&rig) == before, "the probe has changed the records");
    rig.options.probe = Some("nowhere".into());
    assert_eq!(rig.identify().outcome.code, 2);
}

#[test]
fn a_rom_is_never_probed() {
    let mut made = declared_flash("rom", "");
    made.says = "kind = \"rom\"".into();
    let mut rig = Rig::new(&made);
    rig.options.probe = Some("store".into());
    let run = rig.identify();
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    assert_eq!(rig.port.bench().adapter().books().words_written, 0);
}
