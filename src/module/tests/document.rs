//! `docs/sheets.md` names every key of a sheet, and no other.

use crate::module::keys::{ADAPTER, CHECK, CHIP, Keys, SHEET, SPACE, TIMING, ZONE};
use crate::module::{AdapterSheet, Sheet};
use std::collections::BTreeSet;

const TEXT: &str = include_str!("../../../docs/sheets.md");

/// The keys in the table under a heading.
fn keys_below(heading: &str) -> BTreeSet<&'static str> {
    let lines = TEXT.lines().skip_while(|line| *line != heading).skip(1);
    let rows = lines.take_while(|line| !line.starts_with('#'));
    let keys: BTreeSet<_> =
        rows.filter_map(|row| row.strip_prefix("| `")?.split('`').next()).collect();
    assert!(!keys.is_empty(), "docs/sheets.md: no keys under {heading}");
    keys
}

#[test]
fn the_text_and_the_program_know_the_same_keys() {
    let tables: [(&str, &Keys); 7] = [
        ("## Top of a module sheet", &SHEET),
        ("## A space: `[[space]]`", &SPACE),
        ("### `chips`", &CHIP),
        ("### `timing`", &TIMING),
        ("## A zone: `[[zone]]`", &ZONE),
        ("## A check: `[[check]]`", &CHECK),
        ("## Top of an adapter sheet", &ADAPTER),
    ];
    for (heading, keys) in tables {
        let known: BTreeSet<_> = keys.known.iter().copied().collect();
        assert_eq!(keys_below(heading), known, "{heading}");
    }
}

#[test]
fn its_examples_are_good_sheets() {
    let blocks: Vec<_> =
        TEXT.split("```toml\n").skip(1).filter_map(|b| b.split("```").next()).collect();
    let sheets: Vec<_> = blocks.iter().filter(|text| text.contains("[[space]]")).collect();
    let adapters: Vec<_> = blocks.iter().filter(|text| text.contains("[lines]")).collect();
    assert_eq!((sheets.len(), adapters.len()), (1, 1));
    assert_eq!(Sheet::parse("docs/sheets.md", sheets[0]).unwrap().name, "TG-7");
    assert_eq!(AdapterSheet::parse("docs/sheets.md", adapters[0]).unwrap().lines.len(), 4);
    // The script is an excerpt; in a sheet with two spaces it must be good.
    let script = blocks.iter().find(|text| text.contains("open = ")).unwrap();
    let (head, tail) = super::WHOLE.split_once("[[space]]\nname = \"two\"").unwrap();
    let whole = format!("{head}{script}[[space]]\nname = \"two\"{tail}");
    assert_eq!(Sheet::parse("docs/sheets.md", &whole).unwrap().spaces[0].banks, Some(4));
}
