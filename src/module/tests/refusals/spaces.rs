//! What is refused in `[[space]]`.

use super::{Case, refused};

const CASES: &[Case<'_>] = &[
    (
        r#"name = "one""#,
        "",
        "7: space.name: this key is missing; expected a name for this space; add it",
    ),
    (
        r#"name = "one""#,
        r#"name = "two""#,
        "24: space.name: `two` is already used in line 8; rename or remove one of the two",
    ),
    (
        r#"kind = "flash""#,
        r#"kind = "prom""#,
        "9: space.kind: expected \"flash\" or \"ram\" or \"rom\", got \"prom\"; correct the \
             value",
    ),
    (
        r#"kind = "flash""#,
        "",
        "7: space.kind: this key is missing; expected flash, ram or rom; add it",
    ),
    (
        "width = 16",
        "width = 12",
        "10: space.width: expected 8, 16 or 32 data lines, got 12; correct the value",
    ),
    (
        "width = 16",
        "",
        "7: space.width: this key is missing; expected 8, 16 or 32 data lines; add it",
    ),
    (
        "base = 0x10",
        "base = 0xF0",
        "11: space.base: 64 words from 0xF0 on end beyond 8 address lines, which count 0x100 \
             words; correct `base`, `words` or `address_lines`",
    ),
    (
        "words = 0x20",
        "",
        "23: space.words: this key is missing; expected the length in words; only of flash the \
             chips may tell it; add it",
    ),
    (
        "words = 0x40",
        "words = 0",
        "12: space.words: expected a whole number, 1 to 4294967295, got 0; correct the value",
    ),
    (
        "words = 0x40",
        "words = 0x1000",
        "12: space.words: 4096 words from 0x10 on end beyond 8 address lines, which count \
             0x100 words; correct `base`, `words` or `address_lines`",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        "",
        "7: space.select: this key is missing; expected the control lines that select this \
             space, as there are several; add it",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        "select = {}",
        "7: space.select: this key is missing; expected the control lines that select this \
             space, as there are several; add it",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = "CS0""#,
        "13: space.select: expected a table, [in brackets] or { within braces }, got \"CS0\"; \
             correct the value",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        "select = { CS0 = 0 }",
        "13: space.select.CS0: expected \"low\" or \"high\", got 0; correct the value",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = { D0 = "low" }"#,
        "13: space.select.D0: expected a control line (not D, A, a supply, NC or ?), got \
             `D0`; correct the value",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = { OE = "low" }"#,
        "14: space.read: `OE` is a select and a strobe of the same space; keep it in one of \
             the two",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = { CS1 = "low" }"#,
        "29: space.select: spaces `one` and `two` are selected by the same levels, and both \
             hold words 0x10 to 0x1F; give each its own `select`, or move one by `base`",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = { CS1 = "high" }"#,
        "29: space.select: `CS1` has no level that leaves both `one` and `two` idle; correct \
             a level, or add a select line of its own to each",
    ),
    (
        r#"select = { CS0 = "low" }"#,
        r#"select = { CS0 = "low", WE = "low" }"#,
        "15: space.write: `WE` is a select and a strobe of the same space; keep it in one of \
             the two",
    ),
    (
        r#"write = { WE = "low" }"#,
        r#"write = { WE = "high" }"#,
        "23: space: `WE` has no level that leaves both `one` and `two` idle; correct a level, \
             or add a select line of its own to each",
    ),
    (
        r#"write = { WE = "low" }"#,
        r#"write = { OE = "low" }"#,
        "15: space.write: the read strobes show every level of the write strobes, so reading \
             would write; give the write a strobe that no read has",
    ),
    (
        r#"write = { WE = "low" }"#,
        "write = { }",
        "15: space.write: expected at least one strobe, got none; correct the value",
    ),
    (
        r#"family = "jedec""#,
        r#"family = "other""#,
        "16: space.family: expected \"amd\" or \"jedec\" or \"page\" or \"intel\", got \
             \"other\"; correct the value",
    ),
    (
        "battery = false",
        r#"family = "amd""#,
        "28: space.family: expected this key in a flash space only, got it in a ram space; \
             remove it, or correct `kind`",
    ),
    (
        "battery = false",
        "battery = 1",
        "28: space.battery: expected true or false, got 1; correct the value",
    ),
    (
        r#"family = "jedec""#,
        "battery = true",
        "16: space.battery: expected this key in a ram space only, got it in a flash space; \
             remove it, or correct `kind`",
    ),
    (
        r#"kind = "ram""#,
        "kind = \"rom\"\nwrite = { WE = \"low\" }",
        "26: space.write: expected this key in a flash or ram space only, got it in a rom \
             space; remove it, or correct `kind`",
    ),
    (
        "[[space]]",
        "[space]",
        "23: space: this key or table stands here a second time; remove one of the two; \
             several tables of a kind are headed [[so]]",
    ),
];

#[test]
fn each_with_its_line_key_and_sentence() {
    refused(CASES);
}
