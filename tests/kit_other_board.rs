//! Another controller than those of the kit: the template names all that a board must bring, the build
//! says what is left out, and a second board made from it (`tests/kit/m1284.h`) builds and reads.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use support::avr::number;
use support::kit::{Kit, OnPty, run};
use support::outside_tool;
use support::process::buswright;

/// A module of 64 KiB on 8 bits.
const SHEET: &str = "format = 1\nname = \"MG\"\nrail_mv = 5000\naddress_lines = 16\n\
     [[space]]\nname = \"tables\"\nkind = \"rom\"\nwidth = 8\nwords = 0x10000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 150 }\n";

fn here(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The template, filled in as far as it must be: its `#error` lines out, its facts not 0.
fn filled(kit: &Kit) -> String {
    let template = fs::read_to_string(kit.path().join("boards/template.h")).unwrap();
    template.lines().filter(|line| !line.starts_with("#error")).fold(
        String::new(),
        |mut text, line| {
            let fact = ["BD_RAIL_MV 0", "BD_IO_MV 0", "BD_INPUT_MV 0"];
            let fact = fact.iter().find(|fact| line.starts_with(&format!("#define {fact}")));
            let line = match fact {
                Some(fact) => line.replace(fact, &fact.replace(" 0", " 3300")),
                None => line.to_owned(),
            };
            writeln!(text, "{line}").unwrap();
            text
        },
    )
}

/// `make` for a board of this computer with these sources.
fn made(kit: &Kit, header: &str, main: &str) -> Output {
    let boards = kit.path().join("boards");
    fs::write(boards.join("own.h"), header).unwrap();
    fs::write(boards.join("own_main.c"), main).unwrap();
    let mut make = Command::new("make");
    make.arg("-C").arg(kit.path()).args(["BOARD=own", "TOOL=", "PART_FLAGS=", "build/own.elf"]);
    make.env("LC_ALL", "C").output().unwrap()
}

#[test]
fn the_template_says_what_is_to_be_filled_in_and_leaves_nothing_out() {
    let Some(kit) = Kit::export() else { return };
    let read = |name| fs::read_to_string(kit.path().join("boards").join(name)).unwrap();
    let (template, main) = (read("template.h"), read("template_main.c"));
    let out = made(&kit, &template, &main);
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(!out.status.success(), "the template is no board yet");
    // Each part once, and not by every file of the core.
    for part in template.lines().filter_map(|line| line.strip_prefix("#error ")) {
        let times = said.matches(&format!("error: #error {part}\n")).count();
        assert_eq!(times, 1, "{part}: {said}");
    }
    let begun = main.lines().filter(|line| !line.starts_with("#error"));
    let begun = begun.collect::<Vec<_>>().join("\n");
    let out = made(&kit, &filled(&kit), &begun);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn what_a_board_leaves_out_is_named_in_a_sentence() {
    let Some(kit) = Kit::export() else { return };
    let whole = filled(&kit);
    let names: Vec<_> = whole.lines().filter_map(|line| line.strip_prefix("#define BD_")).collect();
    assert!(names.len() > 40, "{names:?}");
    for line in names.into_iter().filter(|line| line.contains(' ')) {
        let name = format!("BD_{}", line.split_once(' ').unwrap().0);
        let out = checked(&kit, &whole.replace(&format!("#define BD_{line}\n"), ""));
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(!out.status.success(), "{name} is not missed");
        let sentence = said.lines().find(|line| line.contains("error: #error \"")).unwrap_or("");
        assert!(sentence.contains(&name) && sentence.contains("must be"), "{name}: {said}");
    }
}

#[test]
fn sizes_that_do_not_go_together_are_refused() {
    let Some(kit) = Kit::export() else { return };
    let whole = filled(&kit);
    for (name, value) in [
        ("BD_RING", "900"),
        ("BD_QUEUE", "600"),
        ("BD_SPARE", "20"),
        ("BD_SCRIPT_BYTES", "638"),
        ("BD_POOL", "124"),
        ("BD_ROWS", "26"),
        ("BD_SCRATCH", "519"),
        ("BD_TX_BODY", "500"),
        ("BD_OUT", "255"),
        ("BD_TICKS", "16"),
        ("BD_CONTROL_LINES", "17"),
        ("BD_INPUT_MV", "0"),
    ] {
        let define = format!("#define {name} ");
        let line = whole.lines().find(|line| line.starts_with(&define)).unwrap();
        let out = checked(&kit, &whole.replace(line, &format!("{define}{value}")));
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        let sentence = said.lines().find(|line| line.contains("error: #error \"")).unwrap_or("");
        assert!(!out.status.success() && sentence.contains(name), "{name} {value}: {said}");
    }
}

/// The compiler on the core's main header with this board.
fn checked(kit: &Kit, header: &str) -> Output {
    let board = kit.path().join("boards/own.h");
    fs::write(&board, header).unwrap();
    let mut gcc = Command::new("gcc");
    gcc.args(["-std=c99", "-fsyntax-only", "-DBW_BOARD=\"../boards/own.h\"", "core/bw.h"]);
    gcc.env("LC_ALL", "C").current_dir(kit.path()).output().unwrap()
}

/// The second board's firmware and what the build said of its size; `None` where a tool is missing.
fn second(kit: &Kit) -> Option<(PathBuf, String)> {
    let tools = [("avr-gcc", "gcc-avr"), ("/usr/lib/avr/include/avr/io.h", "avr-libc")];
    if !tools.iter().all(|(tool, package)| outside_tool(tool, package)) {
        return None;
    }
    for name in ["m1284.h", "m1284_main.c"] {
        fs::copy(here("tests/kit").join(name), kit.path().join("boards").join(name)).unwrap();
    }
    let said = kit.make(&["BOARD=m1284", "PART=atmega1284p"]);
    Some((kit.path().join("build/m1284.elf"), said))
}

#[test]
fn a_second_board_builds_as_docs_adapter_says() {
    let Some(kit) = Kit::export() else { return };
    let Some((elf, _)) = second(&kit) else { return };
    let said = run(Command::new("avr-size").args(["-C", "--mcu=atmega1284p"]).arg(elf));
    let (flash, data) = (number(&said, "Program:"), number(&said, "Data:"));
    println!("flash {flash}, data {data}");
    assert!(flash < 60_000 && data < 6_000, "flash {flash}, data {data}: see docs/adapter.md");
}

#[test]
fn a_second_board_tells_an_empty_socket_and_captures_a_module_of_8_bits() {
    let Some(kit) = Kit::export() else { return };
    let simulator = [
        ("/usr/include/simavr/sim_avr.h", "libsimavr-dev"),
        ("/usr/include/libelf.h", "libelf-dev"),
    ];
    if !simulator.iter().all(|(tool, package)| outside_tool(tool, package)) {
        return;
    }
    let Some((elf, _)) = second(&kit) else { return };
    let rig = kit.beside("rig_small");
    let mut gcc = Command::new("gcc");
    gcc.args(["-std=gnu99", "-Wall", "-Wextra", "-O2", "-I/usr/include/simavr", "-o"]).arg(&rig);
    gcc.args(["rig_small.c", "rig_line.c"].map(|name| here("tests/kit").join(name)));
    run(gcc.args(["-lsimavr", "-lelf", "-lutil"]));
    let (home, sheet, copy) = (kit.beside("home"), kit.beside("mg.toml"), kit.beside("copy.bin"));
    fs::create_dir(&home).unwrap();
    fs::write(&sheet, SHEET).unwrap();
    let (sheet, copy) = (sheet.to_str().unwrap(), copy.to_str().unwrap());
    let mut empty = Command::new(&rig);
    let empty = OnPty::start(empty.arg(&elf).arg("16000000"));
    let ran = buswright(&home, ["identify", "--port", &empty.port, "--sheet", sheet]);
    ran.assert_says(1, &["chip D0-D7: nothing answers"]);
    empty.end();
    let (rom, mut contents) = (kit.beside("rom.bin"), vec![0; 0x10000]);
    fastrand::Rng::with_seed(8).fill(&mut contents);
    fs::write(&rom, &contents).unwrap();
    let mut fitted = Command::new(&rig);
    let fitted = OnPty::start(fitted.arg(&elf).arg("16000000").arg(rom));
    let words = ["capture", "--out", copy, "--port", &fitted.port, "--sheet", sheet];
    let ran = buswright(&home, [&words[..], &["--specimen", "MG #8"]].concat());
    let books = fitted.end();
    assert_eq!(ran.code, Some(0), "{}{}\n{books}", ran.out, ran.err);
    assert!(ran.out.contains("0 again, 0 damaged"), "{}", ran.out);
    assert!(fs::read(copy).unwrap() == contents, "the copy is what the module holds");
}
