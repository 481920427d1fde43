//! What is refused in `[[zone]]`.

use super::{Case, refused};

const CASES: &[Case<'_>] = &[
    (
        r#"space = "one""#,
        r#"space = "onne""#,
        "32: zone.space: expected a space of this sheet (one, two), got `onne`; did you mean \
             `one`?",
    ),
    (
        r#"space = "one""#,
        "",
        "31: zone.space: this key is missing; expected the name of its space; add it",
    ),
    (
        r#"range = "0x20+8""#,
        r#"range = "0x20""#,
        "40: zone.range: `0x20` has no `+`; a range is START+LENGTH in words, such as \
             0x7E000+0x800; correct the value",
    ),
    (
        r#"range = "0x20+8""#,
        r#"range = "0x17+8""#,
        "40: zone.range: it shares words 0x17 to 0x17 with zone `a` of line 34; correct one \
             of the two ranges",
    ),
    (
        r#"range = "0x20+8""#,
        r#"range = "0x4F+2""#,
        "40: zone.range: words 0x4F to 0x50 are outside space `one`, which is 0x10 to 0x4F; \
             correct `range` or `space`; addresses start at the base",
    ),
    (
        r#"range = "0x20+8""#,
        r#"range = "0xF+2""#,
        "40: zone.range: words 0xF to 0x10 are outside space `one`, which is 0x10 to 0x4F; \
             correct `range` or `space`; addresses start at the base",
    ),
    (
        r#"range = "0x20+8""#,
        "range = \"0x20+8\"\nauthor = \"me\"",
        "41: zone.author: [[zone]] has no such key; move it to the top of the sheet",
    ),
    (
        r#"name = "b""#,
        r#"name = "a""#,
        "39: zone.name: `a` is already used in line 33; rename or remove one of the two",
    ),
    (
        "keep = true",
        r#"keep = "yes""#,
        "35: zone.keep: expected true or false, got \"yes\"; correct the value",
    ),
    ("keep = true", "live = 1", "35: zone.live: expected true or false, got 1; correct the value"),
    (
        "keep = true",
        "keep_off = true\nlive = true",
        "36: zone.live: a zone that is never touched cannot be captured as live; keep one of \
             `live` and `keep_off`",
    ),
    (
        r#"family = "jedec""#,
        "live = true",
        "16: space.live: [[space]] has no such key; move it to [[zone]]",
    ),
];

#[test]
fn each_with_its_line_key_and_sentence() {
    refused(CASES);
}
