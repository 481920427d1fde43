//! A large module, whole, through the real program and the machine code.

use crate::support::avr::Machine;
use crate::support::process::buswright;
use std::fs;
use std::time::Instant;

/// 4 MiB on 32 bits.
const WORDS: usize = 0x10_0000;

const SHEET: &str = "format = 1\nname = \"KL\"\ntitle = \"kit\"\nrail_mv = 3300\naddress_lines = 20\n\
     [[space]]\nname = \"store\"\nkind = \"rom\"\nwidth = 32\nwords = 0x100000\n\
     select = { CS0 = \"low\" }\ntiming = { access_ns = 90 }\n";

#[test]
fn four_mib_come_through_byte_for_byte() {
    let mut contents = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(67).fill(&mut contents);
    // Some of it blank, and some of it all the same, as in a module that is not full.
    contents[0x10_0000..0x18_0000].fill(0xFF);
    contents[0x20_0000..0x21_0000].fill(0);
    let Some(machine) = Machine::start(16_000_000, &contents, 0, None) else { return };
    let home = tempfile::tempdir().unwrap();
    let path = |name: &str| home.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("sheet.toml"), SHEET).unwrap();
    let (sheet, copy) = (path("sheet.toml"), path("copy.bin"));
    let began = Instant::now();
    let words = ["capture", "--out", &copy, "--port", machine.port(), "--sheet", &sheet];
    let ran = buswright(home.path(), [&words[..], &["--specimen", "KL #0001"]].concat());
    println!("4 MiB in {:.1} s on this computer", began.elapsed().as_secs_f64());
    ran.assert_says(0, &["agreed", "0 damaged"]);
    assert!(fs::read(&copy).unwrap() == contents, "the copy is what the module holds");
    let books = machine.end();
    assert!(books.of_kind(0x89).1 >= WORDS as u64, "{}", books.text);
}
