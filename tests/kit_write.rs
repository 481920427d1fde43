//! Flash chips of both kinds programmed through the firmware as machine code: `buswright` identifies,
//! plans and writes; the rig's chips, which share nothing with the product, keep the books.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;

use std::fs;
use std::path::Path;
use support::avr::{Books, Machine, number};
use support::process::buswright;

/// A chip type of the rig, its words and family.
struct Chip {
    name: &'static str,
    words: usize,
    family: &'static str,
}

const fn chip(name: &'static str, words: usize, family: &'static str) -> Chip {
    Chip { name, words, family }
}

const TIMING: &str =
    "{ access_ns = 90, set_up_ns = 50, hold_ns = 10, recover_ns = 30, release_ns = 50 }";

/// Two chips side by side at CS0, RAM at CS1.
fn sheet(chip: &Chip) -> String {
    format!(
        "format = 1\nname = \"KW\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 20\n\
         [[space]]\nname = \"store\"\nkind = \"flash\"\nfamily = \"{}\"\nwidth = 32\nwords = {}\n\
         select = {{ CS0 = \"low\" }}\ntiming = {TIMING}\n\
         chips = [{{ ref = \"U1\", lane = \"D0-D15\" }}, {{ ref = \"U2\", lane = \"D16-D31\" }}]\n\
         [[space]]\nname = \"records\"\nkind = \"ram\"\nwidth = 32\nwords = 0x1000\n\
         select = {{ CS1 = \"low\" }}\ntiming = {TIMING}\n",
        chip.family, chip.words
    )
}

/// Identifies the module, plans to bring `image` into its first words and writes that; the books.
fn written(clock: u32, baud: u32, chip: &Chip, contents: &[u8], image: &[u8]) -> Option<Books> {
    let machine = Machine::start_at(clock, baud, contents, 0x1000, Some(chip.name))?;
    let home = tempfile::tempdir().unwrap();
    let path = |name: &str| home.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("sheet.toml"), sheet(chip)).unwrap();
    fs::write(path("image.bin"), image).unwrap();
    let (port, sheet) = (format!("{}@{baud}", machine.port()), path("sheet.toml"));
    let always = ["--port", &port, "--sheet", &sheet, "--specimen", "KW #0001"];
    let command = |words: &[&str]| buswright(home.path(), [words, &always].concat());
    command(&["identify"]).assert_says(0, &["U1 D0-D15", "U2 D16-D31", chip.family]);
    let range = format!("0x0+{}", image.len() / 4);
    let plan = command(&["plan", &path("image.bin"), "--space", "store", "--range", &range]);
    plan.assert_says(0, &["\nnext  "]);
    let next = plan.out.split("\nnext  ").nth(1).unwrap();
    let code = next.split(" write ").nth(1).unwrap();
    let code = code.split(' ').next().unwrap();
    command(&["write", code, "--confirm", "KW #0001"])
        .assert_says(0, &["KW #0001 holds what plan"]);
    let data = number(&machine.sizes, "Data:");
    let books = machine.end();
    let stack = books.number("stack");
    println!("RAM: {data} and {stack} of stack");
    assert!(stack + data <= 7 * 1024, "RAM: {data} and {stack} of stack");
    Some(books)
}

fn noise(bytes: usize, seed: u64) -> Vec<u8> {
    let mut all = vec![0; bytes];
    fastrand::Rng::with_seed(seed).fill(&mut all);
    all
}

/// The first words of noise replaced by other noise: equal in the end, and the chips took every
/// command for what it was meant to be.
#[track_caller]
fn programs(clock: u32, baud: u32, chip: &Chip, words: usize) -> Option<Books> {
    becomes(clock, baud, chip, &noise(words * 4, 42))
}

/// The same with this image.
#[track_caller]
fn becomes(clock: u32, baud: u32, chip: &Chip, image: &[u8]) -> Option<Books> {
    let contents = noise(chip.words * 4, 41);
    let books = written(clock, baud, chip, &contents, image)?;
    assert!(books.store[..image.len()] == *image, "{}", books.text);
    assert!(books.store[image.len()..] == contents[image.len()..], "{}", books.text);
    let lines: Vec<_> = books.text.lines().filter(|line| line.starts_with("chip ")).collect();
    assert_eq!(lines.len(), 2, "{}", books.text);
    for line in lines {
        assert!(line.ends_with("odd 0, failures 0"), "{}", books.text);
    }
    Some(books)
}

/// Cycles a word while words are being programmed.
fn each(books: &Books) -> f64 {
    books.number(", cycles ") as f64 / books.number("programmed ") as f64
}

/// At 16 MHz and 1 Mbaud: the line takes 640 cycles for the bytes of a word.
#[track_caller]
fn programs_at(chip: &Chip, books: &Books, share: f64) {
    let each = each(books);
    println!("{}: {each:.0} cycles a word, {:.1} % of the line", chip.name, 64_000.0 / each);
    assert!(640.0 / each >= share, "{}: {each:.0} cycles a word\n{}", chip.name, books.text);
}

#[test]
fn a_pair_of_the_amd_type_with_unlock_bypass() {
    let chip = chip("Am29LV400BB", 0x40000, "amd");
    let Some(books) = programs(16_000_000, 1_000_000, &chip, 0x4000) else { return };
    programs_at(&chip, &books, 0.90);
}

#[test]
fn a_pair_of_the_amd_type_without_unlock_bypass() {
    let chip = chip("kit-n", 0x10000, "amd");
    let Some(books) = programs(16_000_000, 1_000_000, &chip, 0x4000) else { return };
    programs_at(&chip, &books, 0.75);
}

#[test]
fn a_pair_of_the_amd_type_with_write_buffers() {
    let chip = chip("kit-g", 0x10000, "amd");
    let Some(books) = programs(16_000_000, 1_000_000, &chip, 0x4000) else { return };
    assert!(books.text.contains("words 0, buffers 1024,"), "{}", books.text);
    programs_at(&chip, &books, 0.90);
}

#[test]
fn a_pair_of_the_intel_type_with_write_buffers_and_locks() {
    let chip = chip("kit-i", 0x10000, "intel");
    let Some(books) = programs(16_000_000, 1_000_000, &chip, 0x4000) else { return };
    assert!(books.text.contains("words 0, buffers 1024,"), "{}", books.text);
    programs_at(&chip, &books, 0.90);
}

#[test]
fn a_pair_of_the_intel_type_that_wakes_up_locked_at_8_mhz() {
    let chip = chip("kit-c", 0x10000, "intel");
    let Some(books) = programs(8_000_000, 500_000, &chip, 0x2000) else { return };
    println!("{} at 8 MHz: {:.0} cycles a word", chip.name, each(&books));
}

/// The rig's chips have nothing of the product.
#[test]
fn the_chips_of_the_rig_stand_alone() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kit");
    for name in [
        "flash.h",
        "flash.c",
        "flash_amd.c",
        "flash_intel.c",
        "flash_types.c",
        "flash_page.c",
        "flash_page.h",
    ] {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        let own = [
            "\"flash.h\"",
            "\"flash_page.h\"",
            "<stdbool.h>",
            "<stdint.h>",
            "<stdlib.h>",
            "<string.h>",
        ];
        let included = text.lines().filter_map(|line| line.strip_prefix("#include "));
        assert!(included.clone().all(|file| own.contains(&file)), "{name}: {included:?}");
    }
}

/// At the fastest rates, which leave 80 cycles for a byte, no byte is lost either (`Machine::end` looks
/// at the line's books): none may wait for 160, since the receiver holds two. Half of the image is
/// zeros, each of which comes as a code byte and takes longest to decode.
#[test]
fn nothing_is_lost_at_the_fastest_rates() {
    let mut image = noise(0x4000, 42);
    image[0x1000..0x3000].fill(0);
    for (clock, rate) in [(16_000_000, 2_000_000), (8_000_000, 1_000_000)] {
        for chip in [chip("kit-n", 0x10000, "amd"), chip("kit-i", 0x10000, "intel")] {
            let Some(books) = becomes(clock, rate, &chip, &image) else { return };
            let waited = books.number("a byte waited ");
            let each = each(&books);
            println!("{} at {clock} Hz and {rate} baud: {each:.0} cycles a word", chip.name);
            println!("the receiver had to wait for {waited} cycles at most");
        }
    }
}
