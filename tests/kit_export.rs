//! `buswright kit DIR`: everything is there, it builds, and nothing is replaced.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use support::kit::Kit;
use support::process::buswright;

/// The files below `folder` that are no Rust, as paths from it.
fn files(folder: &Path, below: &str, all: &mut BTreeSet<String>) {
    for entry in fs::read_dir(folder.join(below)).unwrap() {
        let entry = entry.unwrap();
        let name = Path::new(below).join(entry.file_name()).to_str().unwrap().to_owned();
        if entry.file_type().unwrap().is_dir() {
            files(folder, &name, all);
        } else if entry.path().extension().is_none_or(|end| end != "rs") {
            all.insert(name);
        }
    }
}

#[test]
fn every_file_is_exported_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let kit = folder.path().join("kit");
    buswright(folder.path(), ["kit".as_ref(), kit.as_os_str()]).assert_says(0, &["files in "]);
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (mut wanted, mut got) = (BTreeSet::new(), BTreeSet::new());
    files(&here.join("src/kit"), "", &mut wanted);
    files(&kit, "", &mut got);
    for name in &wanted {
        let source = fs::read(here.join("src/kit").join(name)).unwrap();
        assert!(source == fs::read(kit.join(name)).unwrap(), "{name}");
    }
    for name in ["docs/adapter.md", "docs/script.md", "docs/wire.md"] {
        assert!(fs::read(here.join(name)).unwrap() == fs::read(kit.join(name)).unwrap(), "{name}");
        wanted.insert(name.to_owned());
    }
    assert_eq!(got, wanted);
    // Again is no harm; a file that somebody has changed stays.
    buswright(folder.path(), ["kit".as_ref(), kit.as_os_str()]).assert_says(0, &[]);
    fs::write(kit.join("Makefile"), "mine").unwrap();
    let ran = buswright(folder.path(), ["kit".as_ref(), kit.as_os_str()]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("Makefile is there already"), "{}", ran.err);
    assert_eq!(fs::read(kit.join("Makefile")).unwrap(), b"mine");
}

#[test]
fn what_is_exported_builds() {
    let Some(kit) = Kit::export() else { return };
    kit.make(&["host"]);
}

/// Sources stay small, and the core knows no controller.
#[test]
fn the_core_is_small_files_without_a_controller_s_name() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/kit");
    let mut all = BTreeSet::new();
    files(&folder, "", &mut all);
    for name in &all {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        assert!(text.lines().count() <= 400, "{name}: {} lines", text.lines().count());
        let lower = text.to_lowercase();
        let bad = ["avr", "atmega", "malloc", "progmem"].iter().find(|word| lower.contains(**word));
        assert!(!name.starts_with("core/") || bad.is_none(), "{name}: {bad:?}");
    }
}
