//! Every family on every bus is named, and nothing is changed by it.

use super::{Made, Rig, chips, report, warnings};
use buswright::app::Event;
use buswright::bus::Nanos;
use serde_json::json;

/// Chip type, lines of one chip, bits and words of the store, family in the sheet; then what is
/// found: a part, its commands, a query table.
type Row = (&'static str, u32, (u32, u32), &'static str, &'static str, bool);

/// Parts by their datasheets' codes, as named in the chip models.
const ROWS: &[Row] = &[
    ("Am29LV040B", 8, (8, 0x8_0000), "amd", "Am29LV040B", false),
    ("Am29LV040B", 8, (16, 0x8_0000), "amd", "Am29LV040B", false),
    ("Am29LV040B", 8, (32, 0x8_0000), "amd", "Am29LV040B", false),
    ("S29AL008J", 16, (16, 0x8_0000), "amd", "Am29LV800BB", true),
    ("S29AL008J", 16, (32, 0x8_0000), "amd", "Am29LV800BB", true),
    // Parts of two widths in their 8-bit mode.
    ("S29AL008J", 8, (8, 0x10_0000), "amd", "Am29LV800BB", true),
    ("S29AL008J", 8, (32, 0x10_0000), "amd", "Am29LV800BB", true),
    ("MBM29LV320BE", 16, (16, 0x20_0000), "amd", "MBM29LV320BE", true),
    ("S29GL064N", 16, (16, 0x40_0000), "amd", "S29GL064N", true),
    ("SST39VF040", 8, (8, 0x8_0000), "jedec", "VF040", false),
    ("SST39VF040", 8, (32, 0x8_0000), "jedec", "VF040", false),
    ("SST39VF1601", 16, (16, 0x10_0000), "jedec", "SST39VF1601", true),
    ("AT29C040A", 8, (8, 0x8_0000), "page", "AT29C040A", false),
    ("AT29C040A", 8, (32, 0x8_0000), "page", "AT29C040A", false),
    ("28F320J3A", 16, (16, 0x20_0000), "intel", "28F320J3", true),
    ("28F320J3A", 16, (32, 0x20_0000), "intel", "28F320J3", true),
    ("28F320J3A", 8, (8, 0x40_0000), "intel", "28F320J3", true),
    ("28F320C3B", 16, (16, 0x20_0000), "intel", "28F320C3", true),
];

#[test]
fn every_family_on_every_bus() {
    for &(chip, lane, size, family, part, table) in ROWS {
        let what = format!("{chip} on {lane} of {} lines", size.0);
        let mut rig = Rig::new(&Made::of(chip, lane, size, family));
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{what}: {}", run.words());
        assert_eq!(chips(&run).len() as u32, size.0 / lane, "{what}");
        for chip in chips(&run) {
            let named = chip["parts"].as_array().unwrap();
            let named = named.iter().any(|name| name.as_str().unwrap().contains(part));
            assert!(named || table, "{what}: {chip}");
            assert_eq!(chip["query"].is_string(), table, "{what}: {chip}");
            assert_eq!(chip["family"], json!(family), "{what}: {chip}");
            let bytes = u64::from(size.1) * u64::from(lane / 8);
            assert_eq!(chip["bytes"], json!(bytes), "{what}: {chip}");
        }
        rig.assert_unharmed(&before);
    }
}

#[test]
fn every_family_without_its_name_in_the_sheet() {
    for &(chip, lane, size, family, ..) in ROWS {
        let what = format!("{chip} on {lane} of {} lines", size.0);
        let mut rig = Rig::new(&Made::of(chip, lane, size, ""));
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{what}: {}", run.words());
        assert_eq!(chips(&run)[0]["family"], json!(family), "{what}: {}", run.words());
        let captured = report(&run)["captured"].as_array().unwrap();
        assert_eq!(captured.len(), 1, "{what}");
        rig.assert_unharmed(&before);
    }
}

#[test]
fn the_built_in_benches() {
    for (name, parts) in [("TG-7", 2), ("TG-7b", 1), ("TG-7c", 4)] {
        let mut rig = Rig::builtin(name);
        let before = rig.contents();
        let run = rig.identify();
        assert_eq!(run.outcome.code, 0, "{name}: {}", run.words());
        assert_eq!(chips(&run).len(), parts, "{name}");
        assert!(chips(&run).iter().all(|chip| chip["answered"] == json!(true)), "{name}");
        assert_eq!(warnings(&run), [""; 0], "{name}");
        rig.assert_unharmed(&before);
    }
}

/// The goal: a module of four chips in less than 1.5 s at 115200, from HELLO to the report.
#[test]
fn four_chips_take_little_of_the_line() {
    let mut rig = Rig::builtin("TG-7c");
    rig.description.adapter.rates = vec![buswright::bus::Baud(115_200)];
    rig.port = buswright::app::SimPort::new(buswright::sim::Bench::new(&rig.description, 1));
    let run = rig.identify();
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let off = |event: &Event| matches!(event, Event::Rail { on: false, .. });
    let on = |event: &Event| matches!(event, Event::Connected { .. });
    let (from, to) = (run.time_of(on).unwrap(), run.time_of(off).unwrap());
    println!("from HELLO to the rail being off: {} ms", to.since(from).as_millis());
    assert!(to.since(from) < Nanos::from_millis(1_500), "{} ms", to.since(from).as_millis());
}

#[test]
fn locked_sectors_are_named() {
    let mut made = Made::of("S29AL008J", 16, (32, 0x8_0000), "amd");
    made.memory +=
        "\n[[chip_fault]]\nmemory = \"store\"\nchip = 1\nkind = \"locked\"\nsectors = [3]\n";
    let mut rig = Rig::new(&made);
    let before = rig.contents();
    let run = rig.identify();
    let locks: Vec<_> = chips(&run).iter().map(|chip| chip["locks"].as_str().unwrap()).collect();
    assert_eq!(locks, ["none of 19 sectors locked", "locked: 3 of sectors 0-18"]);
    rig.assert_unharmed(&before);
}
