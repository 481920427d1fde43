//! A module followed to a board by its pins.

use super::board;
use crate::bus::{Levels, Phases};
use crate::module::{AdapterSheet, FitError, Sheet, builtin, plan_access};
use std::fmt::Write;

const NAMES: [&str; 4] = ["S0", "S1", "RD", "WR"];

/// An adapter sheet for the TG-7's connector whose control lines have names of their own.
fn adapter_text() -> String {
    let mut text = String::from("format = 1\nname = \"TG socket\"\n[lines]\n");
    let data = (0..32).map(|n| (format!("D{n}"), n + 3));
    let address = (0..19).map(|n| (format!("A{n}"), n + 35));
    let control = (54..).zip(NAMES).map(|(pin, name)| (name.to_owned(), pin));
    for (line, pin) in data.chain(address).chain(control) {
        writeln!(text, "{line} = \"J1-{pin}\"").unwrap();
    }
    text
}

fn tg7() -> String {
    builtin("tg-7").unwrap().to_owned()
}

/// The refusal of a module text with an adapter text.
fn refused(module: &str, adapter: &str) -> FitError {
    let sheet = Sheet::parse("t.toml", module).unwrap();
    let adapter = AdapterSheet::parse("a.toml", adapter).unwrap();
    plan_access(&sheet, Some(&adapter), &board(32, 24, &NAMES)).unwrap_err()
}

#[test]
fn control_lines_are_followed_by_pin() {
    let sheet = Sheet::parse("t.toml", &tg7()).unwrap();
    let adapter = AdapterSheet::parse("a.toml", &adapter_text()).unwrap();
    let access = plan_access(&sheet, Some(&adapter), &board(32, 24, &NAMES)).unwrap();
    let low = |mask| Levels { mask, level: 0 };
    assert_eq!(access[0].shape.read, Phases { setup: low(1), strobe: low(4) });
    assert_eq!(access[1].shape.write, Some(Phases { setup: low(2), strobe: low(8) }));
    // By name nothing fits.
    assert!(matches!(
        plan_access(&sheet, None, &board(32, 24, &NAMES)),
        Err(FitError::ControlLine { .. })
    ));
}

#[test]
fn the_adapter_sheet_tells_of_pull_downs() {
    let module = tg7().replace("CS1 = \"low\"", "CS1 = \"high\"");
    let error = refused(&module, &adapter_text());
    assert!(error.to_string().contains("the board pulls its line S1 high"), "{error}");
    assert!(error.is_safety());
    let adapter = adapter_text().replace("[lines]", "pulled_down = [\"S1\"]\n[lines]");
    let sheet = Sheet::parse("t.toml", &module).unwrap();
    let adapter = AdapterSheet::parse("a.toml", &adapter).unwrap();
    let access = plan_access(&sheet, Some(&adapter), &board(32, 24, &NAMES)).unwrap();
    assert_eq!(access[1].shape.idle, Levels { mask: 0xF, level: 0b1101 });
}

#[test]
fn lines_in_another_order_are_refused() {
    let swapped = adapter_text()
        .replace("D4 = \"J1-7\"", "D4 = \"J1-8\"")
        .replace("D5 = \"J1-8\"", "D5 = \"J1-7\"");
    let error = refused(&tg7(), &swapped);
    assert!(
        error.to_string().starts_with(
            "module line D4 on pin J1-7 leads to adapter line D5, expected D4; lines in another \
             order are not supported by this version"
        ),
        "{error}"
    );
    assert!(!error.is_safety());
    let crossed = adapter_text()
        .replace("A0 = \"J1-35\"", "A0 = \"J1-54\"")
        .replace("S0 = \"J1-54\"", "S0 = \"J1-35\"");
    assert!(matches!(refused(&tg7(), &crossed), FitError::NotStraight { .. }));
}

#[test]
fn a_control_line_on_an_address_line_is_refused() {
    let crossed = adapter_text().replace("S1 = \"J1-55\"", "A23 = \"J1-55\"");
    let error = refused(&tg7(), &crossed).to_string();
    let said = "module line CS1 on pin J1-55 leads to adapter line A23, expected a control line";
    assert!(error.starts_with(said), "{error}");
}

#[test]
fn lines_that_lead_nowhere_are_named() {
    let error = refused(&tg7().replace("\"J1-40\" = \"A5\"", ""), &adapter_text());
    assert!(error.to_string().starts_with("module line A5 is not traced to a pin"), "{error}");
    assert!(error.is_safety());
    let error = refused(&tg7(), &adapter_text().replace("\"J1-57\"", "\"?\""));
    let said =
        "module line WE is on pin J1-57, which no line of adapter sheet `TG socket` leads to";
    assert!(error.to_string().starts_with(said), "{error}");
    let (bare, _) = tg7().split_once("[pins]").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    assert!(matches!(refused(&bare, &adapter_text()), FitError::NoPins { .. }));
}

#[test]
fn shorts_are_refused_for_safety() {
    let error = refused(&tg7(), &(adapter_text() + "A19 = \"J1-64\"\n"));
    assert!(error.to_string().starts_with("adapter line A19 leads to pin J1-64, which is GND"));
    assert!(error.is_safety());
    let double = tg7().replace("\"J1-58\" = \"NC\"", "\"J1-58\" = \"D0\"");
    let error = refused(&double, &(adapter_text() + "A20 = \"J1-58\"\n"));
    assert!(error.to_string().starts_with("module line D0 joins adapter lines D0 and A20"));
    assert!(error.is_safety());
    // The same line on a second pin that the adapter leaves open is no trouble.
    let sheet = Sheet::parse("t.toml", &double).unwrap();
    let adapter = AdapterSheet::parse("a.toml", &adapter_text()).unwrap();
    assert!(plan_access(&sheet, Some(&adapter), &board(32, 24, &NAMES)).is_ok());
}
