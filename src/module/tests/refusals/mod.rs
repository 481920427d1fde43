//! Every refusal of a module sheet: its line, its key, its sentence.

mod chips;
mod pins;
mod spaces;
mod top;
mod zones;

use super::with;
use crate::module::Sheet;

/// A piece of the whole sheet, what replaces it, and what is said of it after the file's name.
type Case<'a> = (&'a str, &'a str, &'a str);

fn refused(cases: &[Case<'_>]) {
    for (old, new, said) in cases {
        let error = Sheet::parse("t.toml", &with(old, new)).expect_err(new);
        assert_eq!(error.to_string(), format!("t.toml:{said}"));
    }
}

#[test]
fn no_space_and_too_much_text() {
    let bare = "format = 1\nname = 'x'\nrail_mv = 3300\naddress_lines = 4\n";
    let said = |text: &str| Sheet::parse("t.toml", text).unwrap_err().to_string();
    assert_eq!(
        said(bare),
        "t.toml:1: space: this key is missing; expected at least one [[space]]; add it"
    );
    let single = format!("{bare}[space]\nname = 's'\n");
    assert!(said(&single).starts_with(
        "t.toml:5: space: expected a list of tables, each headed [[space]], got a table"
    ));
    let long = format!("{bare}#{}", "x".repeat(1 << 20));
    assert!(said(&long).starts_with("t.toml:1: (file): expected at most 1048576 bytes of text"));
}

#[test]
fn a_long_name_is_refused_and_not_repeated() {
    let said = |count: usize| {
        Sheet::parse("t.toml", &with("name = \"T\"", &format!("name = \"{}\"", "ü".repeat(count))))
            .map_err(|error| error.to_string())
    };
    assert!(said(64).is_ok());
    assert!(said(65).unwrap_err().contains("got 65 characters"));
}
