//! What is refused in chips and timing.

use super::{Case, refused};

const CASES: &[Case<'_>] = &[
    (
        "width = 16",
        "width = 8",
        "19: space.chips.lane: lane D8-D15 of chip `U2` is outside D0-D7, the width of this \
             space; correct the lane or `width`",
    ),
    (
        "width = 16",
        "width = 32",
        "18: space.chips: no chip occupies D16-D31; name the chip on these lines, or correct \
             a lane or `width`",
    ),
    (
        r#"lane = "D0-D7""#,
        r#"lane = "D0-D8""#,
        "19: space.chips.lane: chips `U1` and `U2` both occupy D8; give every chip lines of \
             its own",
    ),
    (
        r#"lane = "D0-D7""#,
        r#"lane = "D0-D6""#,
        "18: space.chips: no chip occupies D7; name the chip on these lines, or correct a \
             lane or `width`",
    ),
    (
        r#"lane = "D8-D15""#,
        r#"lane = "D8-D16""#,
        "19: space.chips.lane: lane D8-D16 of chip `U2` is outside D0-D15, the width of this \
             space; correct the lane or `width`",
    ),
    (
        r#"lane = "D8-D15""#,
        r#"lane = "D15-D8""#,
        "19: space.chips.lane: expected data lines from low to high, such as \"D0-D15\", got \
             \"D15-D8\"; correct the value",
    ),
    (
        r#"ref = "U2""#,
        r#"ref = "U1""#,
        "19: space.chips.ref: `U1` is already used in line 18; rename or remove one of the \
             two",
    ),
    (
        r#"ref = "U2", "#,
        "",
        "19: space.chips.ref: this key is missing; expected the chip's reference; add it",
    ),
    (
        r#"ref = "U2", "#,
        r#"data_order = "x", ref = "U2", "#,
        "19: space.chips.data_order: expected a list of strings in [ ], got \"x\"; correct the \
             value",
    ),
    (
        r#", lane = "D8-D15""#,
        "",
        "19: space.chips.lane: this key is missing; expected its data lines, such as \
             \"D0-D15\"; add it",
    ),
    (
        "access_ns = 90",
        "access_ns = 0",
        "21: space.timing.access_ns: expected a whole number, 1 to 32767, got 0; correct the \
             value",
    ),
    (
        "access_ns = 90",
        "access_ns = 40000",
        "21: space.timing.access_ns: expected a whole number, 1 to 32767, got 40000; correct \
             the value",
    ),
    (
        "set_up_ns = 10",
        "set_up_ns = 70000",
        "21: space.timing.set_up_ns: expected a whole number, 0 to 65535, got 70000; correct \
             the value",
    ),
    (
        "set_up_ns = 10",
        "setup_ns = 70000",
        "21: space.timing.setup_ns: timing has no such key; did you mean `set_up_ns`?",
    ),
    (
        "timing = { access_ns = 90, set_up_ns = 10 }",
        "access_ns = 90",
        "21: space.access_ns: [[space]] has no such key; move it to timing",
    ),
    (
        "timing = { access_ns = 90, set_up_ns = 10 }",
        "timing = 90",
        "21: space.timing: expected a table, [in brackets] or { within braces }, got 90; \
             correct the value",
    ),
];

#[test]
fn each_with_its_line_key_and_sentence() {
    refused(CASES);
}
