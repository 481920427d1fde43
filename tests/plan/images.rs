//! Which images are taken, which are refused, and what is said of them.

use crate::home::Home;
use std::fs;

const SHELF_OF_0417: &str = "0417-001";

/// A home with a capture of TG-7 and files made of it.
fn home() -> Home {
    let home = Home::new();
    home.run(&["capture", "--quiet"]).says(0, &[]);
    home
}

#[test]
fn files_of_the_wrong_size_are_2_and_say_what_they_look_like() {
    let home = home();
    let content = home.content(SHELF_OF_0417);
    let store = &content[..2 << 20];
    home.write("odd.bin", &store[..store.len() - 1]);
    home.write("lane.bin", &store[..1 << 20]);
    home.write("short.bin", &store[..0x1000]);
    home.write("store.bin", store);
    home.write("empty.bin", "");
    let plan = |file: &str| home.run(&["plan", file, "--space", "store"]);
    plan("odd.bin").says(2, &["holds 2097151 bytes", "no whole number of words of 32 bits"]);
    plan("lane.bin").says(2, &["a file of 1 of the 2 chips of store", "woven"]);
    plan("short.bin").says(2, &["holds 4096 bytes; expected 2097152"]);
    plan("empty.bin").says(2, &["holds 0 bytes"]);
    home.run(&["plan", "store.bin"]).says(2, &["expected 2359296", "--space"]);
    for file in ["odd.bin", "lane.bin", "empty.bin"] {
        plan(file).says(2, &[]).never_says(&["RAIL ON"]);
    }
    let part = ["plan", "short.bin", "--space", "store", "--range", "0x8000+0x400"];
    home.run(&part).says(0, &["plan ", "  4  ", "erase"]);
}

#[test]
fn images_of_another_kind_are_refused_for_safety() {
    let home = home();
    home.write("tg-7b.toml", include_str!("../../src/sim/benches/tg-7b.toml"));
    home.run(&["capture", "--quiet", "--port", "sim:tg-7b.toml"]).says(0, &["0102-001"]);
    home.run(&["plan", "0102-001"])
        .says(4, &["0102-001 was taken from a TG-7b, this module is a TG-7"])
        .never_says(&["RAIL ON"]);
    // Also as a file: the shelf knows what it is.
    home.write("tg-7c.toml", include_str!("../../src/sim/benches/tg-7c.toml"));
    home.run(&["capture", "--quiet", "--port", "sim:tg-7c.toml", "--out", "other.bin"])
        .says(0, &[]);
    home.run(&["plan", "other.bin"]).says(4, &["taken from a TG-7c, this module is a TG-7"]);
}

#[test]
fn what_no_write_touches_is_left_out_or_refused() {
    let home = home();
    home.write("records.bin", &home.content(SHELF_OF_0417)[2 << 20..]);
    home.run(&["plan", "records.bin", "--space", "records"])
        .says(2, &["records is ram", "nothing of records.bin is for flash"])
        .never_says(&["RAIL ON"]);
    home.run(&["plan", SHELF_OF_0417]).says(0, &["records is ram", "nothing is to be done"]);
}

#[test]
fn names_and_options_that_cannot_be() {
    let home = home();
    home.run(&["plan"]).says(2, &["IMAGE"]);
    home.run(&["plan", "--back", "x.bin"]).says(2, &["--back"]);
    home.run(&["plan", "nowhere.bin"]).says(2, &["nowhere.bin", "no such file, and no capture id"]);
    home.run(&["plan", "0417-009"]).says(2, &["0417-009 is not on the shelf"]);
    home.run(&["plan", SHELF_OF_0417, "--space", "shop"]).says(2, &["holds no space shop"]);
    home.run(&["plan", SHELF_OF_0417, "--space", "store", "--range", "0x0+4"])
        .says(2, &["--range says what a file holds", "leave it out"]);
    home.run(&["plan", "@blank", "--range", "0x0+4"]).says(2, &["--range needs --space"]);
    home.run(&["plan", SHELF_OF_0417, "--take", "shop"])
        .says(2, &["no such zone", "it keeps constants"]);
    home.run(&["plan", "@blank", "--space", "store", "--range", "0x0+4", "--take", "constants"])
        .says(2, &["the image holds no word of that zone"]);
    home.run(&["plan", "@blank", "--chips", "nowhere.toml"]).says(2, &["nowhere.toml"]);
    home.run(&["plan", "--back"]).says(2, &["was never written"]).never_says(&["RAIL ON"]);
}

#[test]
fn what_is_known_of_an_image_is_said() {
    let home = home();
    let mut content = home.content(SHELF_OF_0417);
    // The content of a capture under another name is known again.
    home.write("copy.bin", &content);
    home.run(&["plan", "copy.bin"]).says(
        0,
        &["nothing is to be done", "the file is the content of 0417-001", "this specimen"],
    );
    home.run(&["plan", SHELF_OF_0417, "--specimen", "TG-7 #0999"])
        .says(0, &["taken from TG-7 #0417, another specimen", "taken with the same sheet, TG-7"]);
    // Chips are known to records once they were identified.
    home.run(&["identify", "--quiet"]).says(0, &[]);
    home.run(&["capture", "--quiet"]).says(0, &["0417-002"]);
    home.run(&["plan", SHELF_OF_0417]).says(0, &["chips of store: not looked at when"]);
    home.run(&["plan", "0417-002"]).says(0, &["chips of store: the same there and here, U1, U2"]);
    // Bytes the wrong way round are seen.
    content.truncate(2 << 20);
    content.chunks_exact_mut(2).for_each(|pair| pair.swap(0, 1));
    home.write("swapped.bin", &content);
    home.run(&["plan", "swapped.bin", "--space", "store", "--quiet"])
        .says(0, &["is its byte order right?", "nothing is known of where it comes from"]);
}

#[test]
fn where_an_image_is_recorded_as_working() {
    let home = home();
    let record = fs::read_to_string(home.shelf().join("captures/0417-001/record.toml")).unwrap();
    let record: toml::Table = record.parse().unwrap();
    let sum = record["sha256"].as_str().unwrap();
    let line = |event: &str, more: &str| {
        format!(
            "{{\"time\":\"2026-01-02T03:04:05Z\",\"specimen\":\"TG-7 #0300\",\
             \"event\":\"{event}\",{more}}}\n"
        )
    };
    let written = line("written", &format!("\"sha256\":\"{sum}\""));
    let history = home.shelf().join("histories/0300_tg-7.jsonl");
    fs::write(&history, &written).unwrap();
    home.run(&["plan", SHELF_OF_0417]).says(0, &["not recorded as working in any instrument"]);
    fs::write(&history, written + &line("started", "\"text\":\"yes, all day\"")).unwrap();
    home.run(&["plan", SHELF_OF_0417])
        .says(0, &["recorded as working: TG-7 #0300 (2026-01-02: all day)"]);
    // That it did not start is told as well, also where kept zones made other contents of it.
    let made = line("written", &format!("\"sha256\":\"00\",\"image_sha256\":\"{sum}\""));
    fs::write(&history, made + &line("started", "\"text\":\"no: dark display\"")).unwrap();
    let no =
        "recorded as NOT working: the instrument did not start with TG-7 #0300 (2026-01-02: dark";
    home.run(&["plan", SHELF_OF_0417]).says(0, &[no, "not recorded as working in any instrument"]);
}

#[test]
fn the_image_of_the_workbench_that_leads_back_is_an_option_here() {
    let home = home();
    home.run(&["plan", "@back"]).says(2, &["`buswright plan --back`"]).never_says(&["RAIL ON"]);
    home.run(&["verify", "@back"]).says(2, &["only a plan", "`buswright plan --back`"]);
}

#[test]
fn a_copy_that_did_not_agree_is_put_onto_no_module() {
    let home = Home::new();
    let bench = format!(
        "{}\n[[line_fault]]\nline = \"D3\"\nkind = \"unsteady\"\nchance = 0.5\nfrom = 0x9000\n\
         words = 0x20\n",
        include_str!("../../src/sim/benches/tg-7.toml")
    );
    home.write("bad.toml", bench);
    home.run(&["capture", "--quiet", "--port", "sim:bad.toml"]).says(1, &["never held still"]);
    home.run(&["plan", SHELF_OF_0417]).says(4, &["did not agree"]).never_says(&["RAIL ON"]);
}

#[test]
fn images_of_the_simulated_bench_need_a_word_for_a_real_module() {
    let home = home();
    home.write(
        "real.toml",
        include_str!("../../src/sim/benches/tg-7.toml")
            .replace("sheet = \"TG-7\"", "sheet = \"TG-7\"\nboard = \"bench two\""),
    );
    let real = ["--port", "sim:real.toml", "--sheet", "TG-7", "--specimen", "TG-7 #0417", "plan"];
    home.write("copy.bin", home.content(SHELF_OF_0417));
    for image in [SHELF_OF_0417, "copy.bin"] {
        let args = [&real[..], &[image]].concat();
        home.run(&args)
            .says(4, &["simulated bench", "--accept-simulated"])
            .never_says(&["RAIL ON"]);
        let accepted = [&args[..], &["--accept-simulated"]].concat();
        home.run(&accepted).says(0, &["nothing is to be done"]);
    }
}
