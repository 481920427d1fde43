//! Zones that change by themselves, zones that are never touched, and what a sheet may say that no
//! job can do yet.

use crate::home::Home;

const BENCH: &str = r#"format = 1
sheet = "zones.toml"
specimen = "Z #1"
[adapter]
control = [{ name = "OE" }, { name = "WE", write_strobe = true }, { name = "CS0" }, { name = "CS1" }]
[[memory]]
kind = "ram"
name = "records"
width = 16
words = 0x10000
select = { CS0 = "low" }
[[memory]]
kind = "rom"
name = "texts"
width = 16
words = 0x1000
select = { CS1 = "low" }
"#;

/// D3 is unsteady in these words.
const CLOCK: &str = "[[line_fault]]\nline = \"D3\"\nkind = \"unsteady\"\nchance = 0.5\nfrom = 0x9000\nwords = 0x20\n";

const SHEET: &str = r#"format = 1
name = "Z"
rail_mv = 3300
address_lines = 16
[[space]]
name = "records"
kind = "ram"
width = 16
words = 0x10000
select = { CS0 = "low" }
[[space]]
name = "texts"
kind = "rom"
width = 16
words = 0x1000
select = { CS1 = "low" }
"#;

const LIVE: &str =
    "[[zone]]\nspace = \"records\"\nname = \"clock\"\nrange = \"0x9000+0x20\"\nlive = true\n";
const OFF: &str =
    "[[zone]]\nspace = \"records\"\nname = \"latch\"\nrange = \"0x9000+0x20\"\nkeep_off = true\n";

/// A home with a bench, and a sheet that has `zones`.
fn home(zones: &str) -> Home {
    let home = Home::new();
    home.write("bench.toml", format!("{BENCH}{CLOCK}"));
    home.write("zones.toml", format!("{SHEET}{zones}"));
    home
}

fn on<'a>(command: &[&'a str]) -> Vec<&'a str> {
    [&["--port", "sim:bench.toml", "--sheet", "zones.toml"], command].concat()
}

#[test]
fn words_that_change_by_themselves_are_captured_and_not_compared() {
    // Without the zone they are unsteady, and a later look differs.
    let plain = home("");
    let records = on(&["capture", "--space", "records", "--out", "copy.bin"]);
    plain.run(&records).says(1, &["never held still", "unsteady: ", "word 0x9"]);

    let home = home(LIVE);
    let said = "zone clock of records (0x9000+0x20) changes by itself";
    let ran = home
        .run(&records)
        .says(0, &["1-001: 128 KiB of Z #1 agreed", said, "doubt: records: zone clock"]);
    ran.never_says(&["unsteady"]);
    assert_eq!(home.read("copy.bin").len(), 0x2_0000);
    for image in ["copy.bin", "@last"] {
        let verify = on(&["verify", image, "--space", "records"]);
        home.run(&verify).says(0, &["the module equals", "it is not compared"]);
    }
    // A difference beside the zone is one.
    let mut copy = home.read("copy.bin");
    copy[0x9000 * 2] ^= 0xFF;
    copy[0x9020 * 2] ^= 0xFF;
    home.write("changed.bin", copy);
    home.run(&on(&["verify", "changed.bin", "--space", "records"]))
        .says(1, &["differs from changed.bin in 1 word ", "word 0x9020"]);
    home.run(&on(&["shelf", "show", "@last", "--specimen", "Z #1"]))
        .says(0, &["changes by itself"]);
    // Nothing else is left of this range.
    let clock = on(&["capture", "--space", "records", "--range", "0x9000+0x10"]);
    home.run(&clock).says(0, &["1-002"]);
    home.run(&on(&["verify", "@last"]))
        .says(2, &["nothing is left to compare"])
        .never_says(&["RAIL ON"]);
}

#[test]
fn unsteady_words_beside_a_live_zone_are_found() {
    // 24 of them, so that two passes never agree by chance.
    let home = home(&LIVE.replace("0x9000+0x20", "0x9000+0x8"));
    let ran = home.run(&on(&["capture", "--space", "records"])).says(1, &["never held still"]);
    let first = ran.out.split_once("the first is word 0x90").unwrap().1;
    assert!(!first.starts_with('0') || first.as_bytes()[1] >= b'8', "{ran}");
}

#[test]
fn words_that_are_never_touched_are_left_out() {
    let home = home(OFF);
    let said = "zone latch of records (0x9000+0x20) is never touched, as the sheet says (keep_off)";
    let capture = on(&["capture", "--out", "copy.bin"]);
    home.run(&capture).says(0, &["agreed", said]);
    let copy = home.read("copy.bin");
    assert_eq!(copy.len(), 0x2_0000 - 0x40 + 0x2000);
    for image in ["copy.bin", "@last"] {
        home.run(&on(&["verify", image])).says(0, &["the module equals", said]);
    }
    home.run(&on(&["verify", "@last", "--space", "records"])).says(0, &["the module equals"]);
    // A copy from elsewhere may have words there; they are passed over.
    let whole = [&copy[..0x1_2000], &[0x5A; 0x40], &copy[0x1_2000..]].concat();
    home.write("whole.bin", whole);
    home.run(&on(&["verify", "whole.bin"])).says(0, &["the module equals"]);
    home.run(&["shelf", "check"]).says(0, &[]);

    home.run(&on(&["identify"]))
        .says(4, &["zone latch of records is never to be touched", "does not identify"])
        .never_says(&["RAIL ON"]);

    let around = on(&["capture", "--space", "records", "--range", "0x8FF8+0x10"]);
    home.run(&around).says(0, &["16 B"]);
    let inside = on(&["capture", "--space", "records", "--range", "0x9008+0x10"]);
    home.run(&inside)
        .says(4, &["every word asked for", "zone latch", "never to be touched"])
        .never_says(&["RAIL ON"]);
}

#[test]
fn a_length_left_to_the_chips_asks_for_identify_or_a_range() {
    let home = Home::new();
    home.write("bench.toml", BENCH.replace("kind = \"ram\"", "kind = \"flash\""));
    let sheet =
        SHEET.replace("kind = \"ram\"", "kind = \"flash\"").replace("words = 0x10000\n", "");
    home.write("zones.toml", sheet);
    home.run(&on(&["capture"]))
        .says(2, &["no length of space records", "identify it first", "`words`"])
        .never_says(&["RAIL ON"]);
    home.run(&on(&["capture", "--space", "records", "--range", "0x10+0x80"])).says(0, &["256 B"]);
    home.run(&on(&["verify", "@last"])).says(0, &["the module equals"]);
}

#[test]
fn what_no_job_can_do_yet_is_refused_for_safety() {
    let check = "[[check]]\nline = \"PRESENT\"\nlevel = \"low\"\n";
    let home = home(check);
    for command in [&["capture"][..], &["verify", "zones.toml"]] {
        home.run(&on(command))
            .says(4, &["PRESENT low", "cannot do that yet"])
            .never_says(&["RAIL ON"]);
    }
    let open = "close = \"shape 0\\nwrite 0 at 0x0\"\nselect = { CS0";
    home.write("zones.toml", SHEET.replacen("select = { CS0", open, 1));
    home.run(&on(&["capture"]))
        .says(4, &["space records needs its cycle scripts (close)", "--space"])
        .never_says(&["RAIL ON"]);
    home.run(&on(&["identify"])).says(4, &["space records needs its cycle scripts"]);
    home.run(&on(&["capture", "--space", "texts"])).says(0, &["agreed"]);
    home.run(&on(&["verify", "@last"])).says(0, &["the module equals"]);
    home.run(&["sheet", "check", "zones.toml"]).says(0, &["good", "needs its cycle scripts"]);
}
