//! What is refused in `[pins]`.

use super::{Case, refused};

const CASES: &[Case<'_>] = &[
    (
        r#""J1-2" = "A0""#,
        r#""J1-2" = "A8""#,
        "44: pins.J1-2: expected D0-D31, A0-A7, GND, VCC, NC, ? or a control line of a select, \
             strobe or check (CS0, CS1, OE, WE), got `A8`; correct the name",
    ),
    (
        r#""J1-2" = "A0""#,
        r#""J1-2" = "D32""#,
        "44: pins.J1-2: expected D0-D31, A0-A7, GND, VCC, NC, ? or a control line of a select, \
             strobe or check (CS0, CS1, OE, WE), got `D32`; correct the name",
    ),
    (
        r#""J1-2" = "A0""#,
        r#""J1-2" = "CS2""#,
        "44: pins.J1-2: expected D0-D31, A0-A7, GND, VCC, NC, ? or a control line of a select, \
             strobe or check (CS0, CS1, OE, WE), got `CS2`; correct the name",
    ),
    (
        r#""J1-2" = "A0""#,
        r#""j1-1" = "A0""#,
        "44: pins.j1-1: `J1-1` is already used in line 43; rename or remove one of the two",
    ),
    (
        r#""J1-2" = "A0""#,
        r#""J1-1" = "A0""#,
        "44: J1-1: this key or table stands here a second time; remove one of the two; \
             several tables of a kind are headed [[so]]",
    ),
    (
        r#""J1-2" = "A0""#,
        r#""J1-2" = 3"#,
        "44: pins.J1-2: expected a string of 1 to 64 characters, no control characters, no \
             blanks at its ends, got 3; correct the value",
    ),
    (
        r#""J1-2" = "A0""#,
        r#"J1-2.x = "A0""#,
        "44: pins.J1-2: expected a string of 1 to 64 characters, no control characters, no \
             blanks at its ends, got a table; correct the value",
    ),
];

#[test]
fn each_with_its_line_key_and_sentence() {
    refused(CASES);
}
