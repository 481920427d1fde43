//! The keys beyond the usual ones: what they give, and what is refused.

use crate::bus::WordAddress;
use crate::bus::script::{list, parse};
use crate::module::{Level, LineCheck, Pull, Sheet};

/// A sheet with every key that `WHOLE` leaves out.
pub(super) const EXTRAS: &str = r#"format = 1
name = "X"
rail_mv = 3300
address_lines = 10
author = "me"

[[space]]
name = "store"
kind = "flash"
width = 16
words = 0x100
select = { CS0 = "low" }
chips = [
  { ref = "U1", lane = "D0-D7", data_order = ["D7-D0"] },
  { ref = "U2", lane = "D8-D15", address_order = ["A1", "A0", "A2-A7"] },
]
pull = "high"
buffered = true
banks = 4
open = """
# the bank is chosen through the other space
shape 1
A = 0x0
write next payload at A
"""
close = """
shape 1
write 0 at 0x0
"""

[[space]]
name = "ports"
kind = "ram"
width = 8
words = 0x10
select = { CS1 = "low" }

[[zone]]
space = "store"
name = "clock"
range = "0x10+0x8"
live = true

[[zone]]
space = "store"
name = "fuse"
range = "0x40+0x4"
keep_off = true

[[check]]
line = "PRESENT"
level = "low"
why = "the module sits right"
"#;

fn extras() -> Sheet {
    Sheet::parse("x.toml", EXTRAS).unwrap()
}

#[test]
fn every_key_arrives() {
    let sheet = extras();
    let [store, ports] = sheet.spaces.as_slice() else { panic!("two spaces") };
    assert_eq!((store.pull, store.buffered, store.banks), (Some(Pull::High), true, Some(4)));
    assert_eq!((ports.pull, ports.buffered, ports.banks), (None, false, None));
    let open = parse("shape 1\nA = 0x0\nwrite next payload at A").unwrap();
    assert_eq!(store.open, Some(open));
    assert_eq!(list(store.close.as_ref().unwrap()), "0000  shape 1\n0002  write 0 at 0x0\n");
    assert_eq!(store.chips[0].wiring().put(0x01), 0x80);
    assert_eq!(store.chips[1].wiring().address(1), 2);
    let why = Some("the module sits right".to_owned());
    assert_eq!(sheet.checks, [LineCheck { line: "PRESENT".into(), level: Level::Low, why }]);
    let flags: Vec<_> = sheet.zones.iter().map(|z| (z.keep, z.live, z.keep_off)).collect();
    assert_eq!(flags, [(false, true, false), (true, false, true)]);
}

#[test]
fn what_cannot_be_done_yet_is_said() {
    let sheet = extras();
    let said = sheet.not_yet().unwrap();
    assert!(said.contains("PRESENT low (the module sits right)"), "{said}");
    let said = sheet.spaces[0].not_yet().unwrap();
    assert!(said.contains("space store needs its cycle scripts (open, close, banks)"), "{said}");
    assert_eq!(sheet.spaces[1].not_yet(), None);
}

#[test]
fn the_length_of_flash_may_be_left_to_its_chips() {
    let sheet = Sheet::parse("x.toml", &EXTRAS.replace("words = 0x100\n", "")).unwrap();
    let store = &sheet.spaces[0];
    assert!(!store.words_known && sheet.spaces[1].words_known);
    assert_eq!((store.words, store.last()), (0x400, WordAddress(0x3FF)));
    let together = EXTRAS
        .replace("words = 0x100\n", "")
        .replace("select = { CS1 = \"low\" }", "select = { CS0 = \"low\" }\nbase = 0x200");
    let error = Sheet::parse("x.toml", &together).unwrap_err().to_string();
    assert!(error.ends_with("give `words` of `store`, or each its own `select`"), "{error}");
    let beyond = EXTRAS.replace("words = 0x100\n", "base = 0x400\n");
    let error = Sheet::parse("x.toml", &beyond).unwrap_err().to_string();
    assert!(
        error.starts_with("x.toml:11: space.base: 1 words from 0x400 on end beyond"),
        "{error}"
    );
}

#[test]
fn ranges_without_zones() {
    let sheet = extras();
    let pieces = |start, words, kept_off| {
        let without = |zone: &crate::module::Zone| if kept_off { zone.keep_off } else { zone.live };
        let pieces = sheet.pieces(0, WordAddress(start), words, without);
        pieces.into_iter().map(|(start, words)| (start.0, words)).collect::<Vec<_>>()
    };
    assert_eq!(pieces(0, 0x100, true), [(0, 0x40), (0x44, 0xBC)]);
    assert_eq!(pieces(0, 0x100, false), [(0, 0x10), (0x18, 0xE8)]);
    assert_eq!(pieces(0x41, 2, true), []);
    assert_eq!(pieces(0x41, 4, true), [(0x44, 1)]);
    assert_eq!(pieces(0x3F, 2, true), [(0x3F, 1)]);
    assert_eq!(pieces(0x50, 2, true), [(0x50, 2)]);
    let zone = |start, words| sheet.kept_off(0, WordAddress(start), words).map(|z| z.name.as_str());
    assert_eq!(zone(0x43, 1), Some("fuse"));
    assert_eq!(zone(0, 0x100), Some("fuse"));
    assert_eq!((zone(0x44, 1), zone(0, 0x40), zone(0x40, 0)), (None, None, None));
    assert_eq!(sheet.kept_off(1, WordAddress(0x40), 1), None);
}

#[test]
fn each_refusal_with_its_line_key_and_sentence() {
    let cases = [
        (
            "pull = \"high\"",
            "pull = true",
            "17: space.pull: expected \"none\" or \"low\" or \"high\" or \"hold\", got true",
        ),
        ("buffered = true", "buffered = 1", "18: space.buffered: expected true or false, got 1"),
        ("banks = 4", "banks = 1", "19: space.banks: expected a whole number, 2 to 65536, got 1"),
        ("banks = 4", "", "22: space.open: it takes 1 payload words; it is given none"),
        (
            "next payload",
            "0",
            "22: space.open: it takes 0 payload words; with `banks` it takes one",
        ),
        (
            "shape 1\nA",
            "shape 2\nA",
            "22: space.open: shape 2 is of no space; this sheet has 0 to 1; correct this line",
        ),
        (
            "write next payload at A",
            "write it",
            "24: space.open: expected a hexadecimal number of up to 8 digits, got `it`",
        ),
        (
            "write next payload at A",
            "loop N\nend",
            "24: space.open: a sheet's script is started without N",
        ),
        (
            "write next payload at A",
            "emit D",
            "24: space.open: nothing takes words that a sheet's script emits",
        ),
        ("write 0 at 0x0", "loop 0\nend", "28: space.close: a loop of zero times"),
        ("write 0 at 0x0", "loop 2", "28: space.close: this block is never ended"),
        ("shape 1\nwrite 0 at 0x0\n", "# nothing", "27: space.close: there is no operation"),
        (
            "shape 1\nwrite 0 at 0x0",
            "write 0 at 0x0\nshape 0",
            "27: space.close: a script begins with 'shape'",
        ),
        (
            "\"D7-D0\"",
            "\"D7-D1\"",
            "14: space.chips.data_order: expected each of D0-D7 once, got no D0",
        ),
        (
            "\"D7-D0\"",
            "\"D8-D0\"",
            "14: space.chips.data_order: expected each of D0-D7 once, got D8",
        ),
        (
            "\"D7-D0\"",
            "\"D7-D0\", \"D3\"",
            "14: space.chips.data_order: expected each of D0-D7 once, got D3 twice",
        ),
        (
            "\"D7-D0\"",
            "\"A7-A0\"",
            "14: space.chips.data_order: expected lines such as \"D3\", or runs such as \"D0-D7\", got \"A7-A0\"",
        ),
        ("[\"D7-D0\"]", "[]", "14: space.chips.data_order: expected at least one line, got none"),
        ("[\"D7-D0\"]", "[7]", "14: space.chips.data_order: expected a string of 1 to 64"),
        (
            "[\"D7-D0\"]",
            "\"D7-D0\"",
            "14: space.chips.data_order: expected a list of strings in [ ], got \"D7-D0\"",
        ),
        (
            "\"A2-A7\"",
            "\"A3-A7\"",
            "15: space.chips.address_order: expected each of A0-A6 once, got A7",
        ),
        (
            "\"A2-A7\"",
            "\"A8\", \"A3-A7\", \"A2\"",
            "15: space.chips.address_order: expected moved lines that stay inside the space: `base` and `words` being multiples of 0x200, got A8 moved",
        ),
        (
            "words = 0x100",
            "words = 0x100\nbase = 1",
            "16: space.chips.address_order: expected moved lines that stay inside the space: `base` and `words` being multiples of 0x4, got A1 moved",
        ),
        (
            "\"A2-A7\"",
            "\"A2-A31\", \"A2\"",
            "15: space.chips.address_order: expected at most 32 lines, got more",
        ),
    ];
    for (old, new, said) in cases {
        assert!(EXTRAS.contains(old), "{old}");
        let error =
            Sheet::parse("x.toml", &EXTRAS.replacen(old, new, 1)).expect_err(new).to_string();
        assert!(error.starts_with(&format!("x.toml:{said}")), "{error}");
    }
    let bare = EXTRAS.replace("open = \"\"\"", "author = \"\"\"");
    let error = Sheet::review("x.toml", &bare).faults.into_iter().map(|fault| fault.to_string());
    let error: Vec<_> = error.collect();
    assert!(error.iter().any(|said| said.contains("banks are chosen by a script")), "{error:?}");
}

#[test]
fn a_script_in_one_line_is_named_by_its_line() {
    let text = EXTRAS.replace("pull = \"high\"", "close = \"shape 1\\nwrong\"").replacen(
        "close = \"\"\"",
        "title = \"\"\"",
        1,
    );
    let faults = Sheet::review("x.toml", &text).faults;
    let script = faults.iter().find(|fault| fault.key == "space.close").unwrap();
    assert_eq!(script.line, 17, "{script}");
}
