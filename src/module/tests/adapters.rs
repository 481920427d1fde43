//! Adapter sheets: what arrives and what is refused.

use crate::module::{AdapterSheet, LineName};

const WHOLE: &str = r#"format = 1
name = "Bench adapter"
board = "post"
pulled_down = ["CS3"]
author = "Buswright"
revision = "2"

[lines]
"D0" = "J1-3"
"A0" = "J1-35"
CS3 = "J1-54"
CS4 = "?"
"#;

#[test]
fn every_key_arrives() {
    let sheet = AdapterSheet::parse("a.toml", WHOLE).unwrap();
    assert_eq!(sheet.name, "Bench adapter");
    assert_eq!(sheet.board.as_deref(), Some("post"));
    assert_eq!(sheet.pulled_down, ["CS3"]);
    assert_eq!(sheet.line_at("j1-35"), Some(&LineName::Address(0)));
    assert_eq!(sheet.line_at("J1-1"), None);
    assert_eq!(sheet.lines[3].pin, None);
    assert_eq!(sheet.text, WHOLE);
}

#[test]
fn each_refusal_with_its_line_key_and_sentence() {
    let cases = [
        ("format = 1", "format = 3", "1: format: expected 1, the format this version reads, got 3"),
        ("name = \"Bench adapter\"", "", "1: name: this key is missing"),
        (
            "board",
            "bord",
            "3: bord: the top of the adapter sheet has no such key; did you mean `board`?",
        ),
        ("[\"CS3\"]", "\"CS3\"", "4: pulled_down: expected a list of strings in [ ], got \"CS3\""),
        ("[\"CS3\"]", "[3]", "4: pulled_down: expected a string"),
        (
            "[\"CS3\"]",
            "[\n\"CS3\",\n\"cs4\"]",
            "6: pulled_down: expected a control line of [lines] (CS3, CS4), got `cs4`; did you mean `CS4`?",
        ),
        ("[\"CS3\"]", "[\"D0\"]", "4: pulled_down: expected a control line of [lines] (CS3, CS4)"),
        ("[\"CS3\"]", "[\"CS3\", \"CS3\"]", "4: pulled_down: `CS3` is already used in line 4"),
        (
            "[lines]",
            "[linse]",
            "8: linse: the top of the adapter sheet has no such key; did you mean `lines`?",
        ),
        (
            "\"A0\"",
            "\"A32\"",
            "10: lines.A32: expected an adapter line (D0-D31, A0-A31 or a control line)",
        ),
        ("\"A0\"", "GND", "10: lines.GND: expected an adapter line"),
        ("J1-35", "j1-3", "10: lines.A0: `j1-3` is already used in line 9"),
        ("\"A0\"", "\"D0\"", "10: D0: this key or table stands here a second time"),
        ("\"J1-35\"", "35", "10: lines.A0: expected a string"),
    ];
    for (old, new, said) in cases {
        let text = WHOLE.replacen(old, new, 1);
        let error = AdapterSheet::parse("a.toml", &text).expect_err(new).to_string();
        assert!(error.starts_with(&format!("a.toml:{said}")), "{error}");
    }
    let bare = "format = 1\nname = 'x'\n";
    let error = AdapterSheet::parse("a.toml", bare).unwrap_err().to_string();
    assert!(error.starts_with("a.toml:1: lines: this key is missing"), "{error}");
}
