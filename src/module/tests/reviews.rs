//! Every fault of a sheet at once, and what is only a warning.

use super::{WHOLE, with};
use crate::module::{AdapterSheet, Sheet};

/// Line and key of every fault.
fn faults(text: &str) -> Vec<(usize, String)> {
    let review = Sheet::review("t.toml", text);
    assert_eq!((review.sheet.is_none(), review.more), (!review.faults.is_empty(), 0));
    review.faults.into_iter().map(|fault| (fault.line, fault.key)).collect()
}

fn found(faults: &[(usize, String)]) -> Vec<(usize, &str)> {
    faults.iter().map(|(line, key)| (*line, key.as_str())).collect()
}

#[test]
fn faults_in_every_part_are_named_in_the_order_of_the_file() {
    let text = with("rail_mv = 5000", "rail_mv = 3.3")
        .replace("lane = \"D0-D7\"", "lane = \"D0-D20\"")
        .replace("battery = false", "family = \"amd\"\npull = \"up\"")
        .replace("range = \"0x20+8\"", "range = \"0x60+8\"")
        .replace("\"J1-3\" = \"CS0\"", "\"j1-1\" = \"CS0\"\n\"J1-4\" = \"A9\"")
        + "author = 5\n";
    let faults = faults(&text);
    assert_eq!(
        found(&faults),
        [
            (4, "rail_mv"),
            (18, "space.chips.lane"),
            (28, "space.family"),
            (29, "space.pull"),
            (46, "pins.j1-1"),
            (47, "pins.J1-4"),
            (49, "pins.author"),
        ]
    );
}

#[test]
fn what_follows_from_a_fault_is_not_said_again() {
    // No "width is missing", no "no such space", no "no such control line".
    let text = with("width = 16", "widht = 16");
    assert_eq!(found(&faults(&text)), [(10, "space.widht")]);
    let text = with("select = { CS0 = \"low\" }", "select = { CS0 = \"lo\" }");
    assert_eq!(found(&faults(&text)), [(13, "space.select.CS0")]);
    let text = with("words = 0x40", "words = \"64\"");
    assert_eq!(found(&faults(&text)), [(12, "space.words")]);
    let text = with("kind = \"flash\"", "kind = \"flsh\"");
    assert_eq!(found(&faults(&text)), [(9, "space.kind")]);
    let text = with("address_lines = 8", "address_lines = 80");
    assert_eq!(found(&faults(&text)), [(5, "address_lines")]);
    // Of another format nothing else is known.
    let text = with("format = 1", "format = 2").replace("rail_mv", "rail");
    assert_eq!(found(&faults(&text)), [(1, "format")]);
}

#[test]
fn a_line_that_is_no_toml_does_not_hide_the_next() {
    let text = with("rail_mv = 5000", "rail_mv = 5000 mV").replace("width = 16", "width == 16");
    let faults = faults(&text);
    assert_eq!(faults.iter().map(|fault| fault.0).collect::<Vec<_>>(), [4, 10], "{faults:?}");
}

#[test]
fn many_faults_are_counted() {
    let pins = (0..300).fold(String::new(), |all, n| all + &format!("P{n} = 1\n"));
    let review = Sheet::review("t.toml", &format!("{WHOLE}{pins}"));
    assert_eq!((review.faults.len(), review.more), (100, 200));
}

#[test]
fn large_sheets_are_read_in_time_that_grows_with_them() {
    let pins = (0..40_000).fold(String::new(), |all, n| all + &format!("\"J9-{n}\" = \"NC\"\n"));
    let sheet = Sheet::parse("t.toml", &format!("{WHOLE}{pins}")).unwrap();
    assert_eq!(sheet.pins.len(), 40_004);
}

#[test]
fn lines_without_a_pin_are_a_warning() {
    let review = Sheet::review("t.toml", WHOLE);
    assert_eq!(
        review.warnings,
        ["[pins] has no pin for D1-D15, A1-A7, CS1, OE, WE, VCC, GND: no message can name one \
          there, and no adapter sheet reaches these lines"]
    );
    let (none, _) = WHOLE.split_once("[pins]").unwrap();
    assert_eq!(Sheet::review("t.toml", none).warnings, Vec::<String>::new());
    for name in crate::module::builtin_names() {
        let text = crate::module::builtin(name).unwrap();
        assert_eq!(Sheet::review(name, text).warnings, Vec::<String>::new(), "{name}");
    }
}

#[test]
fn other_warnings() {
    let text =
        with("\"J1-2\" = \"A0\"", "\"J1-2\" = \"?\"\n\"J1-9\" = \"D16\"\n\"J1-8\" = \"D18\"")
            .replace("words = 0x40\n", "");
    let warnings = Sheet::review("t.toml", &text).warnings.join("\n");
    for said in [
        "[pins] names D16, D18, but the widest space has 16 data lines",
        "pins J1-2 are not traced: reading goes, writing is refused",
        "space one has no `words`: it must be identified",
    ] {
        assert!(warnings.contains(said), "{said}\n{warnings}");
    }
    let extras = Sheet::review("x.toml", super::extras::EXTRAS).warnings.join("\n");
    assert!(extras.contains("[[check]]") && extras.contains("cycle scripts"), "{extras}");
}

#[test]
fn adapter_sheets_are_reviewed_too() {
    let text =
        "format = 1\nboard = 3\n[lines]\nD0 = 5\nGND = \"J1-1\"\nCS0 = \"J1-2\"\nCS1 = \"j1-2\"\n";
    let review = AdapterSheet::review("a.toml", text);
    let keys: Vec<_> = review.faults.iter().map(|fault| fault.key.as_str()).collect();
    assert_eq!(keys, ["name", "board", "lines.D0", "lines.GND", "lines.CS1"]);
    let text = "format = 1\nname = \"a\"\n[lines]\nD0 = \"?\"\nD1 = \"J1-1\"\n";
    let review = AdapterSheet::review("a.toml", text);
    assert_eq!(review.warnings, ["lines D0 are not traced: they reach no pin"]);
}
