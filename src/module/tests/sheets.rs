//! What a good sheet gives.

use super::{WHOLE, whole, with};
use crate::bus::{Lane, Millivolts, Width, WordAddress};
use crate::module::{Family, Kind, Level, LineLevel, LineName, Sheet, Timing};

fn line(line: &str, level: Level) -> LineLevel {
    LineLevel { line: line.to_owned(), level }
}

#[test]
fn every_key_arrives() {
    let sheet = whole();
    assert_eq!((sheet.name.as_str(), sheet.title.as_str()), ("T", "A test module"));
    assert_eq!((sheet.rail, sheet.address_lines), (Millivolts(5000), 8));
    let (index, one) = sheet.space("one").unwrap();
    assert_eq!(index, 0);
    assert_eq!((one.kind, one.width, one.family), (Kind::Flash, Width::W16, Some(Family::Jedec)));
    assert_eq!((one.base, one.words, one.last()), (WordAddress(0x10), 0x40, WordAddress(0x4F)));
    assert_eq!(one.select, [line("CS0", Level::Low)]);
    assert_eq!(one.chips[1].reference, "U2");
    assert_eq!(one.chips[1].lane, Lane { first: 8, bits: 8 });
    assert_eq!(one.timing, Timing { access: 90, set_up: 10, ..Timing::default() });
    assert!(!one.battery && !sheet.spaces[1].battery);
    let zones: Vec<_> =
        sheet.zones_of(0).map(|zone| (zone.start.0, zone.words, zone.keep)).collect();
    assert_eq!(zones, [(0x10, 8, true), (0x20, 8, false)]);
    assert_eq!(sheet.pins_of(&LineName::Data(0)).collect::<Vec<_>>(), ["J1-1", "J2-1"]);
    assert_eq!(sheet.control_lines().into_iter().collect::<Vec<_>>(), ["CS0", "CS1", "OE", "WE"]);
}

#[test]
fn what_is_left_out_has_a_default() {
    let text = "format = 1\nname = 'x'\nrail_mv = 3300\naddress_lines = 4\n\
                [[space]]\nname = 's'\nkind = 'ram'\nwidth = 32\nwords = 16\n";
    let sheet = Sheet::parse("x", text).unwrap();
    assert_eq!(sheet.title, "x");
    let space = &sheet.spaces[0];
    assert!(space.battery && space.select.is_empty());
    assert_eq!(space.base, WordAddress(0));
    assert_eq!(space.read, [line("OE", Level::Low)]);
    assert_eq!(space.write.as_deref(), Some(&[line("WE", Level::Low)][..]));
    assert_eq!(space.timing, Timing::default());
    assert_eq!(space.chips.len(), 1);
    assert_eq!(space.chips[0].reference, "chip");
    assert_eq!(space.chips[0].lane, Lane { first: 0, bits: 32 });
    let rom = Sheet::parse("x", &text.replace("ram", "rom")).unwrap();
    assert_eq!(rom.spaces[0].write, None);
    assert!(!rom.spaces[0].battery);
}

#[test]
fn the_text_stays_and_its_hash_is_of_the_text() {
    let sheet = whole();
    assert_eq!(sheet.text, WHOLE);
    assert_eq!(sheet.sha256().len(), 64);
    let other = Sheet::parse("t.toml", &format!("{WHOLE}# more\n")).unwrap();
    assert_ne!(sheet.sha256(), other.sha256());
}

#[test]
fn a_bank_line_may_choose_between_two_spaces() {
    let text = with("select = { CS0 = \"low\" }", "select = { CS = \"low\", BANK = \"low\" }")
        .replace("select = { CS1 = \"low\" }", "select = { CS = \"low\", BANK = \"high\" }")
        .replace("words = 0x20", "words = 0x40")
        .replace("\"CS0\"", "\"CS\"");
    assert_eq!(Sheet::parse("t.toml", &text).unwrap().spaces.len(), 2);
}

#[test]
fn the_same_select_may_hold_two_spaces_side_by_side() {
    let text = with("CS1", "CS0").replace("words = 0x20", "words = 0x10");
    assert_eq!(Sheet::parse("t.toml", &text).unwrap().spaces.len(), 2);
}
