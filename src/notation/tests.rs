//! The same texts through the library's own deserializer and through this one.

use super::read;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::fmt::Debug;
use toml::Spanned;

#[derive(Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
struct Outer {
    name: Spanned<String>,
    #[serde(default)]
    count: u16,
    wide: Option<Spanned<u64>>,
    share: Option<f64>,
    on: Option<bool>,
    kind: Option<Kind>,
    pair: Option<[u32; 2]>,
    #[serde(default)]
    item: Vec<Item>,
    #[serde(default)]
    other: BTreeMap<String, Spanned<i64>>,
}

#[derive(Debug, Deserialize, PartialEq)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    Plain,
    Sized(u32),
    At { x: i32, y: i32 },
}

#[derive(Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
struct Item {
    id: Id,
    #[serde(default)]
    words: Vec<Spanned<String>>,
}

#[derive(Debug, Deserialize, PartialEq)]
#[serde(try_from = "String")]
struct Id(u8);

impl TryFrom<String> for Id {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse().map(Self).map_err(|_| format!("{text} is no id"))
    }
}

/// Both give the same value, or the same fault at the same place.
#[track_caller]
fn alike<T: DeserializeOwned + Debug + PartialEq>(text: &str) -> Result<T, (String, String)> {
    let ours = read::<T>(text);
    let theirs = toml::from_str::<T>(text);
    let place = |span: Option<std::ops::Range<usize>>| {
        span.map(|span| text.get(span).unwrap_or_default().to_string()).unwrap_or_default()
    };
    let ours = ours.map_err(|fault| (fault.message().to_string(), place(fault.span())));
    let theirs = theirs.map_err(|fault| (fault.message().to_string(), place(fault.span())));
    assert_eq!(ours, theirs, "{text}");
    ours
}

#[test]
fn every_kind_of_value_is_read_as_the_library_reads_it() {
    let whole = "name = \"a\"\ncount = 0x1F\nwide = 18446744073709551615\nshare = 1.5e3\n\
                 on = true\nkind = { at = { x = -1, y = 2 } }\npair = [1, 0b10]\n\
                 [[item]]\nid = \"7\"\nwords = [\"b\", '''c''']\n[[item]]\nid = \"8\"\n\
                 [other]\nk = -5\n\"l m\" = 1_000\n";
    let read = alike::<Outer>(whole).unwrap();
    assert_eq!((read.count, read.item.len(), read.pair), (31, 2, Some([1, 2])));
    assert_eq!(&whole[read.name.span()], "\"a\"");
    for kind in ["\"plain\"", "{ sized = 3 }"] {
        alike::<Outer>(&format!("name = \"a\"\nkind = {kind}\n")).unwrap();
    }
}

#[test]
fn faults_have_the_library_s_words_and_places() {
    for (text, words, place) in [
        ("count = 3\n", "missing field `name`", ""),
        ("name = \"a\"\nno = 1\n", "unknown field `no`", "no"),
        ("name = \"a\"\ncount = 70000\n", "invalid value: integer `70000`", "70000"),
        ("name = 3\n", "invalid type: integer `3`", "3"),
        ("name = \"a\"\npair = [1]\n", "invalid length 1", "[1]"),
        ("name = \"a\"\npair = [1, \"b\"]\n", "invalid type: string \"b\"", "\"b\""),
        ("name = \"a\"\nkind = \"round\"\n", "unknown variant `round`", "\"round\""),
        ("name = \"a\"\nkind = 4\n", "wanted string or table", "4"),
        ("name = \"a\"\n[[item]]\nid = \"x\"\n", "x is no id", "\"x\""),
        ("name = \"a\"\n[[item]]\nid = \"1\"\nids = 2\n", "unknown field `ids`", "ids"),
        ("name = \"a\"\nname = \"b\"\n", "duplicate key", "name"),
        ("name = \n", "", ""),
    ] {
        let (said, at) = alike::<Outer>(text).unwrap_err();
        assert!(said.contains(words) && at.contains(place), "{text}: {said} at {at:?}");
    }
}

#[test]
fn a_date_without_quotes_is_refused_in_words() {
    let fault = read::<Outer>("name = 2026-01-01\n").unwrap_err();
    assert!(fault.message().contains("date without quotes"), "{fault}");
    assert_eq!(fault.span(), Some(7..17));
}
