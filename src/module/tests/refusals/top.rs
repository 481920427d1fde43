//! What is refused in the top of a module sheet.

use super::{Case, refused};

const CASES: &[Case<'_>] = &[
    (
        "format = 1",
        "format = 2",
        "1: format: expected 1, the format this version reads, got 2; correct the value",
    ),
    ("format = 1\n", "", "1: format: this key is missing; expected format = 1; add it"),
    (
        "format = 1",
        r#"format = "1""#,
        "1: format: expected a whole number, 0 to 4294967295, got \"1\"; correct the value",
    ),
    (
        r#"title = "A test module""#,
        r#"title = """#,
        "3: title: expected a string of 1 to 64 characters, no control characters, no blanks \
             at its ends, got an empty string; correct the value",
    ),
    (
        r#"title = "A test module""#,
        r#"title = "a\u001bb""#,
        "3: title: expected a string of 1 to 64 characters, no control characters, no blanks \
             at its ends, got \"a\\u{1b}b\"; correct the value",
    ),
    (
        r#"title = "A test module""#,
        r#"title = " a""#,
        "3: title: expected a string of 1 to 64 characters, no control characters, no blanks \
             at its ends, got \" a\"; correct the value",
    ),
    (
        r#"title = "A test module""#,
        "title = 5",
        "3: title: expected a string of 1 to 64 characters, no control characters, no blanks \
             at its ends, got 5; correct the value",
    ),
    (
        r#"title = "A test module""#,
        r#"titel = "A test module""#,
        "3: titel: the top of the sheet has no such key; did you mean `title`?",
    ),
    (
        r#"title = "A test module""#,
        "widht = 3",
        "3: widht: the top of the sheet has no such key; remove it, or put it in a # comment",
    ),
    (
        r#"title = "A test module""#,
        "width = 3",
        "3: width: the top of the sheet has no such key; move it to [[space]]",
    ),
    (
        r#"title = "A test module""#,
        r#""q\u001b" = 3"#,
        "3: q\\u{1b}: the top of the sheet has no such key; remove it, or put it in a # \
             comment",
    ),
    (
        r#"title = "A test module""#,
        "title = [\"a\"\n",
        "5: rail_mv: this is not TOML: missing comma between array elements, expected `,`; \
             strings need quotes, a table stands in [brackets], a list in [[two]]",
    ),
    (
        r#"title = "A test module""#,
        "title = A test",
        "3: title: this is not TOML: string values must be quoted, expected literal string; \
             strings need quotes, a table stands in [brackets], a list in [[two]]",
    ),
    (
        "rail_mv = 5000",
        "rail_mv = 999",
        "4: rail_mv: expected a whole number, 1000 to 6000, got 999; correct the value",
    ),
    (
        "rail_mv = 5000",
        "rail_mv = 6001",
        "4: rail_mv: expected a whole number, 1000 to 6000, got 6001; correct the value",
    ),
    (
        "rail_mv = 5000",
        "rail_mv = 3.3",
        "4: rail_mv: expected a whole number, 1000 to 6000, got the fraction 3.3; correct the \
             value",
    ),
    (
        "rail_mv = 5000",
        "rail_mv = 99999999999999999999999999",
        "4: rail_mv: expected a whole number, 1000 to 6000, got 99999999999999999999999999; \
             correct the value",
    ),
    (
        "rail_mv = 5000",
        "",
        "1: rail_mv: this key is missing; expected the module's supply in millivolts; add it",
    ),
    (
        "address_lines = 8",
        "address_lines = 33",
        "5: address_lines: expected a whole number, 1 to 32, got 33; correct the value",
    ),
    (
        "address_lines = 8",
        "address_lines = -1",
        "5: address_lines: expected a whole number, 1 to 32, got -1; correct the value",
    ),
    (
        "address_lines = 8",
        "",
        "1: address_lines: this key is missing; expected how many address lines it has; add \
             it",
    ),
    (
        r#"title = "A test module""#,
        "check = 3",
        "3: check: expected a list of tables, each headed [[check]], got 3; correct the value",
    ),
    (
        "[pins]",
        "[[check]]\nline = 3\nlevel = \"low\"\n[pins]",
        "43: check.line: expected a string of 1 to 64 characters, no control characters, no \
             blanks at its ends, got 3; correct the value",
    ),
    (
        "[pins]",
        "[[check]]\nline = \"PRESENT\"\n[pins]",
        "42: check.level: this key is missing; expected \"low\" or \"high\"; add it",
    ),
    (
        "[pins]",
        "[[check]]\nlevel = \"high\"\n[pins]",
        "42: check.line: this key is missing; expected a control line; add it",
    ),
    (
        "[pins]",
        "[[check]]\nline = \"D3\"\nlevel = \"high\"\n[pins]",
        "43: check.line: expected a control line (not D, A, a supply, NC or ?), got `D3`; \
             correct the value",
    ),
    (
        "[pins]",
        "[[check]]\nline = \"CS0\"\nlevel = \"high\"\n[pins]",
        "43: check.line: `CS0` is a select or a strobe, which the adapter drives: its level says \
             nothing; remove it, or correct the line",
    ),
    (
        "[pins]",
        "[[check]]\nline = \"P\"\nlevel = \"high\"\n[[check]]\nline = \"P\"\nlevel = \"low\"\n[pins]",
        "46: check.line: `P` is already used in line 43; rename or remove one of the two",
    ),
    (
        "[pins]",
        "[[check]]\nline = \"P\"\nlevel = \"up\"\n[pins]",
        "44: check.level: expected \"low\" or \"high\", got \"up\"; correct the value",
    ),
    (
        r#"title = "A test module""#,
        "pull = \"low\"",
        "3: pull: the top of the sheet has no such key; move it to [[space]]",
    ),
];

#[test]
fn each_with_its_line_key_and_sentence() {
    refused(CASES);
}
