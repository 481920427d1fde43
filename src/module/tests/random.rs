//! No text makes the reading of sheets panic, and no sheet makes fitting panic.

use super::{WHOLE, board};
use crate::module::{
    AdapterSheet, Sheet, builtin, builtin_names, fit_report, parse_range, plan_access,
};
use proptest::prelude::*;

/// Everything that foreign text goes through.
fn use_it(text: &str) {
    let board = board(32, 24, &["CS0", "CS1", "OE", "WE"]);
    let adapter = AdapterSheet::parse("a", text);
    let review = Sheet::review("s", text);
    assert_eq!(review.sheet.is_none(), !review.faults.is_empty());
    if let (Some(sheet), Ok(adapter)) = (&review.sheet, &adapter) {
        let _ = fit_report(sheet, adapter);
    }
    match Sheet::parse("s", text) {
        Ok(sheet) => {
            let _ = plan_access(&sheet, adapter.as_ref().ok(), &board).map_err(|e| e.to_string());
        }
        Err(error) => {
            let lines = text.bytes().filter(|byte| *byte == b'\n').count() + 1;
            assert!((1..=lines).contains(&error.line), "{error}");
            assert!(!error.to_string().contains('\u{1b}'));
        }
    }
    let _ = parse_range(text).map_err(|error| error.to_string());
}

fn sheets() -> impl Strategy<Value = String> {
    let mut texts: Vec<_> = builtin_names().filter_map(builtin).map(str::to_owned).collect();
    texts.extend([WHOLE.to_owned(), super::extras::EXTRAS.to_owned()]);
    prop::sample::select(texts)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn random_text(text in "\\PC{0,200}|[-+x_0-9A-F]{0,24}|([a-z\\[\\]{}=\"0-9,. \n]{0,12}\n){0,20}") {
        use_it(&text);
    }

    #[test]
    fn mutated_sheets(
        text in sheets(),
        edits in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..24, "\\PC{0,3}|[\"=\\[\\]{}0-9\n\u{1b}]{0,6}"), 1..6),
    ) {
        let mut chars: Vec<char> = text.chars().collect();
        for (at, removed, added) in edits {
            let start = at.index(chars.len() + 1);
            let end = (start + removed).min(chars.len());
            chars.splice(start..end, added.chars());
        }
        use_it(&chars.into_iter().collect::<String>());
    }

    /// A mutated number or word leaves more sheets whole, so fitting is reached too.
    #[test]
    fn mutated_values(
        text in sheets(),
        line in any::<prop::sample::Index>(),
        value in prop::sample::select(vec![
            "0", "1", "8", "16", "32", "0xFFFFFFFF", "65535", "true", "\"high\"", "\"rom\"",
            "\"?\"", "{ CS1 = \"high\" }", "{ WE = \"high\", OE = \"low\" }", "\"0x0+0xFFFFFFFF\"",
        ]),
    ) {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        let index = line.index(lines.len());
        if let Some((key, _)) = lines[index].clone().split_once('=') {
            lines[index] = format!("{key}= {value}");
        }
        use_it(&lines.join("\n"));
    }
}
