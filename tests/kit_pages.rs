//! Page-write chips asked and programmed through the firmware as machine code, four side by side. Such
//! a chip takes the writes of a command, and the bytes of a page, only while they follow each other
//! quickly; a write that nothing follows in time costs an unprotected one a whole page. The rig's chips,
//! which share nothing with the product, keep the books.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::fs;
use support::avr::{Books, Machine};
use support::process::buswright;

const CLOCK: u32 = 16_000_000;
const BAUD: u32 = 1_000_000;
/// Words of the store: 64 KiB a chip.
const WORDS: usize = 0x1_0000;
const PAGE: usize = 128;

/// Four chips at CS0, RAM at CS1; `family` is a line of the space.
fn sheet(family: &str) -> String {
    let timing =
        "{ access_ns = 90, set_up_ns = 50, hold_ns = 10, recover_ns = 30, release_ns = 50 }";
    let chips =
        (0..4).map(|n| format!("{{ ref = \"U{}\", lane = \"D{}-D{}\" }}", n + 1, n * 8, n * 8 + 7));
    let chips = chips.collect::<Vec<_>>().join(", ");
    format!(
        "format = 1\nname = \"KP\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 20\n\
         [[space]]\nname = \"store\"\nkind = \"flash\"\n{family}\nwidth = 32\nwords = {WORDS}\n\
         select = {{ CS0 = \"low\" }}\ntiming = {timing}\nchips = [{chips}]\n\
         [[space]]\nname = \"records\"\nkind = \"ram\"\nwidth = 32\nwords = 0x1000\n\
         select = {{ CS1 = \"low\" }}\ntiming = {timing}\n"
    )
}

fn noise(bytes: usize, seed: u64) -> Vec<u8> {
    let mut all = vec![0; bytes];
    fastrand::Rng::with_seed(seed).fill(&mut all);
    all
}

/// The books of one chip after the words that name it.
fn of_chips(books: &Books, word: &str) -> Vec<u64> {
    let lines = books.text.lines().filter(|line| line.starts_with("page chip "));
    let all: Vec<_> = lines.map(|line| support::avr::number(line, word)).collect();
    assert_eq!(all.len(), 4, "{}", books.text);
    all
}

/// No chip took a write for what it was not meant to be.
fn assert_whole(books: &Books) {
    for word in ["lone", "odd", "lost"] {
        assert_eq!(of_chips(books, word), [0; 4], "{word}: {}", books.text);
    }
    let longest = of_chips(books, "longest")[0];
    println!("{longest} ns between two writes at most");
    assert!(longest < 140_000, "{}", books.text);
}

/// Identifies, plans, writes, and verifies by the store itself.
fn written(chip: &str, family: &str) {
    let contents = noise(WORDS * 4, 51);
    let Some(machine) = Machine::start_at(CLOCK, BAUD, &contents, 0x1000, Some(chip)) else {
        return;
    };
    let home = tempfile::tempdir().unwrap();
    let path = |name: &str| home.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("sheet.toml"), sheet(family)).unwrap();
    // Whole pages, a part of one, and one that becomes blank.
    let mut image = contents[..9 * PAGE * 4].to_vec();
    let new = noise(PAGE * 4 * 6 + 100, 52);
    image[..new.len()].copy_from_slice(&new);
    image[8 * PAGE * 4..].fill(0xFF);
    fs::write(path("image.bin"), &image).unwrap();
    let (port, sheet) = (format!("{}@{BAUD}", machine.port()), path("sheet.toml"));
    let always = ["--port", &port, "--sheet", &sheet, "--specimen", "KP #0001"];
    let command = |words: &[&str]| buswright(home.path(), [words, &always].concat());
    command(&["identify"]).assert_says(0, &["U1 D0-D7", "U4 D24-D31", "AT29LV512", "page"]);
    let range = format!("0x0+{}", image.len() / 4);
    let plan = command(&["plan", &path("image.bin"), "--space", "store", "--range", &range]);
    plan.assert_says(0, &["\nnext  "]);
    let next = plan.out.split("\nnext  ").nth(1).unwrap();
    let code = next.split(" write ").nth(1).unwrap();
    let code = code.split(' ').next().unwrap();
    command(&["write", code, "--confirm", "KP #0001"])
        .assert_says(0, &["KP #0001 holds what plan"]);
    let books = machine.end();
    assert!(books.store[..image.len()] == *image, "{}", books.text);
    assert!(books.store[image.len()..] == contents[image.len()..], "{}", books.text);
    assert_whole(&books);
    // Six pages and a part of the seventh, the blank one; no other.
    assert_eq!(of_chips(&books, "cycles"), [8; 4], "{}", books.text);
    assert_eq!(of_chips(&books, "loads"), [8 * PAGE as u64; 4], "{}", books.text);
}

#[test]
fn protected_chips_of_a_named_family() {
    written("AT29LV512", "family = \"page\"");
}

/// Nothing tells what they are, and a lone write would cost a page.
#[test]
fn chips_without_protection_of_which_nothing_is_known() {
    written("AT29LV512-open", "");
}
