//! The C checker and interpreter, and the C framing, held to `tests/vectors/`.

#![allow(clippy::unwrap_used, reason = "a test ends where its data is wrong")]

mod support;

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use support::kit::Kit;

const SCRIPTS: &str = include_str!("vectors/scripts.txt");
const WANTED: &[&str] =
    &["invalid", "refused", "cycles", "end", "lanes", "registers", "emitted", "mismatches", "ns"];

/// What a program makes of `input`.
fn filter(program: &Path, input: &str) -> String {
    let mut command = Command::new(program);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{input}\nended with {}: {err}", out.status);
    String::from_utf8(out.stdout).unwrap()
}

/// Each record of scripts.txt: its name, its lines, and what it wants, every key in one line.
fn records() -> Vec<(&'static str, String, String)> {
    let mut all = Vec::new();
    let lines = SCRIPTS.lines().filter(|line| !line.starts_with('#') && !line.is_empty());
    for line in lines {
        let (key, words) = line.split_once(' ').unwrap_or((line, ""));
        if key == "script" {
            all.push((words, String::new(), Vec::<(&str, String)>::new()));
            continue;
        }
        let (_, given, wanted) = all.last_mut().unwrap();
        if WANTED.contains(&key) {
            match wanted.iter_mut().find(|(of, _)| *of == key) {
                Some((_, said)) => write!(said, " {words}").unwrap(),
                None => wanted.push((key, words.to_owned())),
            }
        } else {
            writeln!(given, "{line}").unwrap();
        }
    }
    let each = all.into_iter().map(|(name, given, wanted)| {
        let ordered = WANTED.iter().filter_map(|key| wanted.iter().find(|(of, _)| of == key));
        let wanted = ordered.fold(String::new(), |out, (key, said)| format!("{out}{key} {said}\n"));
        (name, given, wanted)
    });
    each.collect()
}

#[test]
fn every_script_comes_out_as_written() {
    let Some(kit) = Kit::export() else { return };
    let core =
        ["ops", "check", "measure", "run", "wait", "sweep"].map(|name| format!("core/{name}.c"));
    let core: Vec<_> = core.iter().map(String::as_str).collect();
    let program = kit.program("vectors", "vector_board.h", &["vectors.c"], &core);
    let records = records();
    assert!(records.len() > 80, "{} records", records.len());
    let mut wrong = String::new();
    for (name, given, wanted) in records {
        let got = filter(&program, &given);
        if got != wanted {
            write!(wrong, "script {name}\n{got}\nwanted\n{wanted}\n").unwrap();
        }
    }
    assert!(wrong.is_empty(), "these came out as:\n{wrong}");
}

#[test]
fn every_frame_is_made_and_found() {
    let Some(kit) = Kit::export() else { return };
    let core = ["crc", "line", "send"].map(|name| format!("core/{name}.c"));
    let core: Vec<_> = core.iter().map(String::as_str).collect();
    let program = kit.program("frames", "host.h", &["frames.c"], &core);
    let lines = include_str!("vectors/frames.txt").lines();
    let lines = lines.filter(|line| !line.starts_with('#') && !line.is_empty());
    let each: Vec<_> = lines.map(|line| line.split(" | ").collect::<Vec<_>>()).collect();
    assert!(each.len() > 40, "{} frames", each.len());
    let input = each.iter().fold(String::new(), |all, e| format!("{all}{} | {}\n", e[2], e[3]));
    let got = filter(&program, &input);
    let mut made = got.lines();
    for example in &each {
        let wanted = format!("{} | {}", example[3], example[2]);
        assert_eq!(made.next(), Some(wanted.as_str()), "{}", example[0]);
    }
}
