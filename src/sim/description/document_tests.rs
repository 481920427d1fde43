//! `docs/sheets.md` names every key of a bench file, and no other.

use super::BenchDescription;
use super::raw::{
    RawAdapter, RawBench, RawChipFault, RawControl, RawFaults, RawLine, RawLineFault, RawMemory,
    RawOdds, RawRail,
};
use serde::de::DeserializeOwned;
use std::collections::BTreeSet;

const TEXT: &str = include_str!("../../../docs/sheets.md");

fn below(heading: &str) -> BTreeSet<String> {
    let lines = TEXT.lines().skip_while(|line| *line != heading).skip(1);
    let rows = lines.take_while(|line| !line.starts_with('#'));
    rows.filter_map(|row| Some(row.strip_prefix("| `")?.split('`').next()?.to_owned())).collect()
}

/// A wrong key is answered with all that are right: "unknown field `?`, expected one of `a`, ..."
fn known<T: DeserializeOwned>() -> BTreeSet<String> {
    let said = toml::from_str::<T>("no = 1").err().unwrap().message().to_owned();
    said.split('`').skip(3).step_by(2).map(str::to_owned).collect()
}

#[test]
fn the_text_on_bench_files_knows_the_same_keys() {
    let tables = [
        ("## Top of a bench file", known::<RawBench>()),
        ("## `[adapter]`", known::<RawAdapter>()),
        ("### `control`", known::<RawControl>()),
        ("## `[line]`", known::<RawLine>()),
        ("## `[faults]`", known::<RawFaults>()),
        ("### `request` and `reply`", known::<RawOdds>()),
        ("## `[rail]`", known::<RawRail>()),
        ("## `[[memory]]`", known::<RawMemory>()),
        ("## `[[line_fault]]`", known::<RawLineFault>()),
        ("## `[[chip_fault]]`", known::<RawChipFault>()),
    ];
    for (heading, known) in tables {
        assert!(known.len() > 1, "{heading}");
        assert_eq!(below(heading), known, "{heading}");
    }
}

#[test]
fn its_example_is_a_good_bench() {
    let example = TEXT.split("```toml\n").find(|text| text.contains("[[memory]]\n")).unwrap();
    let example = example.split("```").next().unwrap();
    let bench = BenchDescription::parse("docs/sheets.md", example).unwrap();
    assert_eq!((bench.memories.len(), bench.line_faults.len()), (1, 1));
}
