//! The floors of the crate: who may import whom, and what the pure floors must do without.
//!
//! `docs/architecture.md` explains the order; the tables here are what holds it.

#[path = "support/rust_paths.rs"]
mod rust_paths;

use rust_paths::{Found, paths};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Each floor and the floors right below it; it may import those and all that they may import.
const FLOORS: &[(&str, &[&str])] = &[
    ("notation", &[]),
    ("bus", &[]),
    ("wire", &["bus"]),
    ("link", &["wire"]),
    ("chips", &["bus", "notation"]),
    ("module", &["chips"]),
    ("image", &["module"]),
    ("shelf", &["image"]),
    ("jobs", &["link", "shelf"]),
    // Neither link nor chips: the simulator would share their mistakes.
    ("sim", &["bus", "wire", "notation"]),
    ("kit", &[]),
    ("app", &["jobs", "sim", "kit"]),
    ("cli", &["app"]),
    ("tui", &["app"]),
];

/// Floors without files, sockets, threads, runtime or clock: time and bytes are arguments there.
const PURE: &[&str] = &["notation", "bus", "wire", "chips", "module", "image", "sim", "link"];

/// The part of a pure floor that does the real work outside.
const SHELL: &str = "link/shell";

/// What the pure floors must not name: paths, each also as the head or tail of a longer one.
const IMPURE: &[&str] = &[
    "tokio",
    "std::fs",
    "std::net",
    "std::thread",
    "std::time::Instant",
    "std::time::SystemTime",
    "SystemTime",
    "Instant::now",
    "Timestamp::now",
    "Zoned::now",
];

/// The floors that `floor` may import; `None` if the table does not know it.
fn allowed(floor: &str) -> Option<BTreeSet<&'static str>> {
    let (_, below) = FLOORS.iter().find(|(name, _)| *name == floor)?;
    let mut all = BTreeSet::new();
    for &name in *below {
        all.insert(name);
        all.extend(allowed(name)?);
    }
    Some(all)
}

/// Everything wrong with `source`, whose file is `file` below src/; one line each.
fn refusals(file: &str, source: &str) -> Vec<String> {
    let module = module_of(file);
    let floor = &module[0];
    let Some(allowed) = allowed(floor) else {
        return vec![format!("src/{file}:1: {floor}: no floor of that name in the table")];
    };
    let pure = PURE.contains(&floor.as_str()) && !in_shell(file);
    let may: Vec<&str> = allowed.iter().copied().collect();
    let may = if may.is_empty() { "no other floor".to_string() } else { may.join(", ") };
    let found = match paths(source, &module) {
        Ok(found) => found,
        Err(error) => return vec![format!("src/{file}:1: no Rust source: {error}")],
    };
    let mut lines = Vec::new();
    for path in &found {
        let mut refuse = |token: &str, why: String| {
            lines.push(format!("src/{file}:{}: {token}: {why}", path.line));
        };
        let target = imported(path).filter(|target| target != floor);
        if target.is_some_and(|target| !allowed.contains(target.as_str())) {
            refuse(&path.written.join("::"), format!("{floor} may import {may}"));
        }
        if let Some(token) = IMPURE.iter().find(|token| pure && names(&path.written, token)) {
            refuse(token, format!("{floor} is a pure floor"));
        }
    }
    lines
}

/// True for the files of [`SHELL`].
fn in_shell(file: &str) -> bool {
    file.strip_prefix(SHELL).is_some_and(|rest| rest.starts_with('/') || rest == ".rs")
}

/// The module path of a file below src/: `bus/word.rs` is `bus::word`, `bus/mod.rs` is `bus`.
fn module_of(file: &str) -> Vec<String> {
    let file = file.trim_end_matches(".rs");
    file.trim_end_matches("/mod").split('/').map(str::to_string).collect()
}

/// The top folder that a path leads to; the crate's own root under another name counts too.
fn imported(path: &Found) -> Option<String> {
    let resolved = path.resolved.as_ref()?;
    match resolved.first() {
        Some(name) => Some(name.clone()),
        None => path.renamed.then(|| "the crate's root".to_string()),
    }
}

/// True if `written` has `token` at its head (`std::fs::File`) or its tail (`time::Instant::now`).
fn names(written: &[String], token: &str) -> bool {
    let token: Vec<&str> = token.split("::").collect();
    let written: Vec<&str> = written.iter().map(String::as_str).filter(|s| *s != "self").collect();
    written.starts_with(&token) || written.ends_with(&token)
}

/// Every .rs file in `folder` and below.
fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())) {
        let path = entry.unwrap_or_else(|e| panic!("{}: {e}", folder.display())).path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            into.push(path);
        }
    }
}

/// The modules that a root declares, one a line.
fn declared(root: &str) -> BTreeSet<String> {
    root.lines()
        .filter_map(|line| {
            line.trim_start_matches("pub").trim_start_matches("(crate)").trim().strip_prefix("mod ")
        })
        .filter_map(|line| line.strip_suffix(';'))
        .map(str::to_string)
        .collect()
}

#[test]
fn every_import_goes_down_and_the_pure_floors_are_pure() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    files.sort();
    let mut seen = BTreeSet::new();
    let mut wrong = Vec::new();
    for path in files {
        let file = path.strip_prefix(&src).unwrap().to_str().unwrap().replace('\\', "/");
        // The two roots put the floors together and may name them all.
        if file != "lib.rs" && file != "main.rs" {
            seen.insert(module_of(&file)[0].clone());
            wrong.extend(refusals(&file, &fs::read_to_string(&path).unwrap()));
        }
    }
    assert!(wrong.is_empty(), "{} refused:\n{}", wrong.len(), wrong.join("\n"));
    let declared = declared(&fs::read_to_string(src.join("lib.rs")).unwrap());
    assert!(declared.contains("bus"), "src/lib.rs declares {declared:?}");
    assert!(declared.is_subset(&seen), "src/lib.rs declares {declared:?}; only {seen:?} were seen");
}

/// Asserts that `source` in `file` is refused in exactly these lines, each given by its start.
fn refused(file: &str, source: &str, starts: &[&str]) {
    let lines = refusals(file, source);
    let same = lines.len() == starts.len()
        && lines.iter().zip(starts).all(|(line, start)| line.starts_with(start));
    assert!(same, "{file}: {source}\n  gives {lines:#?}\n  wanted {starts:#?}");
}

#[test]
fn imports_that_go_up_or_aside_are_refused() {
    refused("bus/x.rs", "\nuse crate::wire::Frame;", &["src/bus/x.rs:2: crate::wire::Frame: "]);
    let group = "use crate::{bus::Word, link::{self, Session},\n jobs};";
    refused(
        "wire/x.rs",
        group,
        &[
            "src/wire/x.rs:1: crate::link::self",
            "src/wire/x.rs:1: crate::link::Session",
            "src/wire/x.rs:2: crate::jobs",
        ],
    );
    refused("sim/mod.rs", "fn f() { crate::chips::go() }", &["src/sim/mod.rs:1: crate::chips::go"]);
    refused("sim/x.rs", "assert_eq!(1, crate::link::N);", &["src/sim/x.rs:1: crate::link::N"]);
    refused("cli/x.rs", "use crate::tui::Key;", &["src/cli/x.rs:1: crate::tui::Key"]);
    refused("bus/x.rs", "use crate::Everything;", &["src/bus/x.rs:1: crate::Everything"]);
    refused("bus/x.rs", "use crate::*;", &["src/bus/x.rs:1: crate::*"]);
    refused("bus/x.rs", "use crate as all;", &["src/bus/x.rs:1: crate"]);
    refused("bus/x.rs", "type T = Vec::<crate::wire::F>;", &["src/bus/x.rs:1: crate::wire::F"]);
    refused("attic/x.rs", "", &["src/attic/x.rs:1: attic: no floor"]);
    refused("bus/x.rs", "fn f( {", &["src/bus/x.rs:1: no Rust source"]);
}

#[test]
fn climbing_out_of_a_folder_is_an_import_too() {
    refused("bus/mod.rs", "use super::wire::F;", &["src/bus/mod.rs:1: super::wire::F"]);
    refused("bus.rs", "use super::wire::F;", &["src/bus.rs:1: super::wire::F"]);
    refused("bus/x.rs", "use super::super::{wire};", &["src/bus/x.rs:1: super::super::wire"]);
    refused("bus/x.rs", "use super::{Word, super::wire};", &["src/bus/x.rs:1: super::super::wire"]);
    let inline = "mod tests { use super::super::super::wire; use super::super::Word; }";
    refused("bus/x.rs", inline, &["src/bus/x.rs:1: super::super::super::wire"]);
    refused("bus/x.rs", "use self::super::super::wire;", &["src/bus/x.rs:1: self::super"]);
    refused("wire/x/y.rs", "use super::super::super::{bus, link};", &["src/wire/x/y.rs:1: "]);
}

#[test]
fn the_world_outside_is_refused_in_pure_floors_only() {
    let cases = [
        ("use tokio::time;", "tokio"),
        ("use std::{fmt, fs};", "std::fs"),
        ("use ::std::net::TcpStream;", "std::net"),
        ("fn f() { std::thread::spawn(g); }", "std::thread"),
        ("use std::thread as t;", "std::thread"),
        ("use std::time::{Duration, Instant};", "std::time::Instant"),
        ("use std::time; fn f() { time::Instant::now(); }", "Instant::now"),
        ("use std::time::SystemTime;", "std::time::SystemTime"),
        ("fn f(at: time::SystemTime) {}", "SystemTime"),
        ("fn f() { jiff::Timestamp::now(); }", "Timestamp::now"),
        ("fn f() { Zoned::now(); }", "Zoned::now"),
    ];
    for (source, token) in cases {
        for floor in PURE {
            let file = format!("{floor}/x.rs");
            refused(&file, source, &[&format!("src/{file}:1: {token}: ")]);
        }
        for file in ["shelf/disk.rs", "jobs/x.rs", "app/x.rs", "link/shell/x.rs", "link/shell.rs"] {
            refused(file, source, &[]);
        }
        assert_eq!(refusals("link/shells/x.rs", source).len(), 1, "a folder named like the shell");
    }
}

#[test]
fn what_is_right_is_not_refused() {
    refused("link/mod.rs", "use crate::{bus::Word, wire}; use super::bus; mod shell;", &[]);
    refused("shelf/x.rs", "use crate::{image, module, chips, bus}; use std::fs;", &[]);
    refused("app/x.rs", "use crate::{kit, sim, jobs, link, shelf, bus}; use self::y::z;", &[]);
    refused("sim/x.rs", "use super::*; pub(crate) fn f() { super::g(); self.h(); }", &[]);
    refused("bus/mod.rs", "pub(super) fn f() {} pub use word::Word; use crate::bus::x;", &[]);
    let words =
        "// crate::wire\n/* std::fs /* tokio */ */ /// crate::link\nconst T: &str = \"tokio\";";
    refused("bus/x.rs", words, &[]);
    refused("bus/x.rs", "use std::time::Duration; fn f(now: Nanos) -> Nanos { now }", &[]);
}
