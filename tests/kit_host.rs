//! The C core built natively: `buswright` reads a module through it, over a pseudo-terminal.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::fs;
use std::path::Path;
use std::process::Command;
use support::kit::{Kit, OnPty};
use support::process::{Ran, buswright};

/// 256 KiB; a third of it blank, so that run coding has something to do.
const WORDS: usize = 0x10000;

fn contents() -> Vec<u8> {
    let mut bytes = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(29).fill(&mut bytes);
    bytes[100_000..180_000].fill(0xFF);
    bytes
}

const SHEET: &str = "format = 1\nname = \"KH\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 16\n\
     [[space]]\nname = \"store\"\nkind = \"rom\"\nwidth = 32\nwords = 0x10000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 150 }\n";

fn command(home: &Path, adapter: &OnPty, words: &[&str]) -> Ran {
    let sheet = home.join("sheet.toml");
    fs::write(&sheet, SHEET).unwrap();
    let always = ["--port", &adapter.port, "--sheet", sheet.to_str().unwrap()];
    let all = [words, &always, &["--specimen", "KH #0001"]].concat();
    buswright(home, all)
}

#[test]
fn a_module_is_captured_through_the_native_core() {
    let Some(kit) = Kit::export() else { return };
    kit.make(&["host", "SAN=1"]);
    let store = kit.beside("store.bin");
    fs::write(&store, contents()).unwrap();
    let program = kit.path().join("build/adapter-host");
    let adapter = OnPty::start(Command::new(program).arg(&store).arg("0"));
    let home = tempfile::tempdir().unwrap();
    let copy = home.path().join("copy.bin");
    let ran = command(home.path(), &adapter, &["capture", "--out", copy.to_str().unwrap()]);
    ran.assert_says(0, &["agreed", "0001-001", "0 damaged"]);
    assert!(fs::read(&copy).unwrap() == contents(), "the copy is what the module holds");
    command(home.path(), &adapter, &["verify", "@last"]).assert_says(0, &[]);
    assert_eq!(adapter.end().trim_end(), "violations 0, writes to the store 0, to the RAM 0");
}
