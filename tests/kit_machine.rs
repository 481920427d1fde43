//! The firmware as machine code: built by avr-gcc, run in simavr by a rig that is no part of the
//! product, with a module on its ports whose times are checked.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::process::Command;
use support::kit::{Kit, OnPty, run};
use support::outside_tool;
use support::process::buswright;

/// 256 KiB on 32 bits.
const WORDS: usize = 0x10000;

const SHEET: &str = "format = 1\nname = \"KM\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 16\n\
     [[space]]\nname = \"store\"\nkind = \"rom\"\nwidth = 32\nwords = 0x10000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 90 }\n";

/// Everything that the build and the rig need; `None` where something is missing.
fn kit() -> Option<Kit> {
    let tools = [
        ("avr-gcc", "gcc-avr"),
        ("/usr/lib/avr/include/avr/io.h", "avr-libc"),
        ("/usr/include/simavr/sim_avr.h", "libsimavr-dev"),
        ("/usr/include/libelf.h", "libelf-dev"),
    ];
    if !tools.iter().all(|(tool, package)| outside_tool(tool, package)) {
        return None;
    }
    Kit::export()
}

/// The rig, built without the product.
fn rig(kit: &Kit) -> PathBuf {
    let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/kit");
    let out = kit.beside("rig");
    let mut gcc = Command::new("gcc");
    gcc.args(["-std=gnu99", "-Wall", "-Wextra", "-O2", "-I/usr/include/simavr", "-o"]).arg(&out);
    gcc.args(["rig.c", "rig_module.c", "rig_line.c"].map(|name| tests.join(name)));
    run(gcc.args(["-lsimavr", "-lelf", "-lutil"]));
    out
}

/// The numbers of the rig's books: cycles and bus reads of each kind of reply.
fn figures(books: &str) -> BTreeMap<String, (u64, u64)> {
    let of_kind = |line: &str| {
        let words: Vec<_> = line.strip_prefix("kind ")?.split([' ', ':', ',']).collect();
        let after =
            |name: &str| words[words.iter().position(|word| *word == name)? + 1].parse().ok();
        Some((words[0].to_owned(), (after("cycles")?, after("reads")?)))
    };
    books.lines().filter_map(of_kind).collect()
}

/// A capture against the firmware at this clock; bytes equal, no violation. The books.
fn captured(clock: u32) -> Option<(String, BTreeMap<String, (u64, u64)>)> {
    let kit = kit()?;
    kit.make(&["m2560", &format!("CLOCK={clock}")]);
    let mut contents = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(31).fill(&mut contents);
    let store = kit.beside("store.bin");
    fs::write(&store, &contents).unwrap();
    let elf = kit.path().join("build/m2560.elf");
    let mut command = Command::new(rig(&kit));
    command.arg(elf).arg(clock.to_string()).arg(store).arg("0");
    let adapter = OnPty::start(&mut command);
    let home = tempfile::tempdir().unwrap();
    let (sheet, copy) = (home.path().join("sheet.toml"), home.path().join("copy.bin"));
    fs::write(&sheet, SHEET).unwrap();
    let (sheet, out) = (sheet.to_str().unwrap(), copy.to_str().unwrap());
    let words = ["capture", "--out", out, "--port", &adapter.port, "--sheet", sheet];
    let ran = buswright(home.path(), [&words[..], &["--specimen", "KM #0001"]].concat());
    let books = adapter.end();
    assert_eq!(ran.code, Some(0), "{}{}\n{books}", ran.out, ran.err);
    assert!(fs::read(&copy).unwrap() == contents, "the copy is what the module holds");
    assert!(books.contains("violations 0:"), "{books}");
    assert!(books.contains("overruns 0, overwritten 0"), "{books}");
    Some((books.clone(), figures(&books)))
}

#[test]
fn a_module_is_captured_through_machine_code_at_16_mhz() {
    let Some((books, _)) = captured(16_000_000) else { return };
    println!("{books}");
}

#[test]
fn a_module_is_captured_through_machine_code_at_8_mhz() {
    let Some((books, _)) = captured(8_000_000) else { return };
    println!("{books}");
}
