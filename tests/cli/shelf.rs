//! `shelf`: captures and histories.

use crate::home::Home;

/// A home with one small capture.
fn with_capture() -> Home {
    let home = Home::new();
    home.run(&["capture", "--space", "records", "--note", "first"]).says(0, &["0417-001"]);
    home
}

#[test]
fn an_empty_shelf_says_so() {
    let home = Home::new();
    home.run(&["shelf", "list"]).says(0, &["nothing on the shelf in"]);
    home.run(&["shelf", "check"]).says(0, &[]);
    for command in ["show", "check"] {
        home.run(&["shelf", command, "@last"]).says(2, &["shelf list"]);
    }
    home.run(&["shelf", "show", "TG-7 #0417"]).says(0, &["nothing yet"]);
    home.run(&["shelf"]).says(2, &["list", "show", "note", "check", "export"]);
}

#[test]
fn list_and_show_tell_what_was_kept() {
    let home = with_capture();
    let ran = home.run(&["shelf", "list"]).says(0, &["0417-001", "TG-7 #0417", "256 KiB", "first"]);
    assert_eq!(ran.out.lines().count(), 1, "{ran}");
    let other = home.run(&["shelf", "list", "--specimen", "TG-7 #0999"]);
    other.says(0, &["nothing on the shelf"]);
    for which in ["0417-001", "@last"] {
        home.run(&["shelf", "show", which]).says(
            0,
            &["0417-001", "simulated", "SHA-256", "sheet TG-7", "pass 1: words", "pass 2: checks"],
        );
    }
    home.run(&["verify", "@last"]).says(0, &[]);
    home.run(&["shelf", "show", "TG-7 #0417"])
        .says(0, &["history of TG-7 #0417", "captured 0417-001", "verified 0417-001"]);
    home.run(&["shelf", "show", "0417-002"]).says(2, &["0417-002", "not on the shelf"]);
    home.run(&["shelf", "show", "../0417-001"]).says(2, &["is no capture id"]);
}

#[test]
fn notes_are_added_and_change_nothing() {
    let home = with_capture();
    let before = home.content("0417-001");
    home.run(&["shelf", "note", "0417-001", "station swapped"]).says(0, &["noted on 0417-001"]);
    home.run(&["shelf", "note", "@last", "it starts"]).says(0, &["0417-001"]);
    home.run(&["shelf", "show", "0417-001"])
        .says(0, &["note: first", "station swapped", "it starts"]);
    home.run(&["shelf", "check"]).says(0, &["0417-001: as recorded"]);
    assert!(home.content("0417-001") == before, "a note changes no content");
    home.run(&["shelf", "note", "0417-001", ""]).says(2, &["is empty"]);
    home.run(&["shelf", "note", "0417-007", "lost"]).says(2, &["0417-007"]);
}

#[test]
fn export_never_replaces_other_contents() {
    let home = with_capture();
    home.run(&["shelf", "export", "@last", "out.bin"]).says(0, &["0417-001 written to out.bin"]);
    assert!(home.read("out.bin") == home.content("0417-001"), "the same bytes");
    home.run(&["shelf", "export", "0417-001", "out.bin"]).says(0, &["already in out.bin"]);
    home.write("out.bin", "mine");
    home.run(&["shelf", "export", "0417-001", "out.bin"]).says(2, &["not replaced", "out.bin"]);
    assert_eq!(home.read("out.bin"), b"mine");
    home.run(&["shelf", "export", "0417-009", "new.bin"]).says(2, &["0417-009"]);
    assert!(!home.path("new.bin").exists());
}

#[test]
fn a_flipped_byte_is_found_with_its_block() {
    let home = with_capture();
    home.run(&["capture", "--space", "records"]).says(0, &["0417-002"]);
    home.run(&["shelf", "check"]).says(0, &["0417-001: as recorded", "0417-002: as recorded"]);
    home.flip("0417-001", 0x1_2345);
    let words = ["0417-001: NOT as recorded", "records, block 1", "0x10000", "0417-002: as rec"];
    home.run(&["shelf", "check"]).says(1, &words);
    home.run(&["shelf", "check", "0417-001"]).says(1, &["block 1"]).never_says(&["0417-002"]);
    home.run(&["shelf", "check", "0417-002"]).says(0, &[]);
    for at in [0x2_0000, 0x3_FFFF] {
        home.flip("0417-001", at);
    }
    home.run(&["shelf", "check", "0417-001"])
        .says(1, &["records, blocks 1 to 3: the 196608 bytes from byte 0x10000"])
        .never_says(&["block 2"]);
    home.run(&["shelf", "export", "0417-001", "out.bin"]).says(3, &["does not fit its record"]);
    assert!(!home.path("out.bin").exists(), "a damaged copy does not get out");
}

#[test]
fn a_damaged_record_is_named_and_hides_no_other_capture() {
    let home = with_capture();
    home.run(&["capture", "--space", "records"]).says(0, &["0417-002"]);
    let record = home.shelf().join("captures/0417-001/record.toml");
    std::fs::write(&record, "format = [").unwrap();
    let ran = home.run(&["shelf", "list"]).says(1, &["0417-002", "record.toml", "cannot be read"]);
    assert!(ran.err.contains("0417-001"), "{ran}");
    home.run(&["shelf", "show", "@last"])
        .says(3, &["which capture is @last is not known", "0417-001", "by its id"]);
    home.run(&["shelf", "show", "0417-002"]).says(0, &[]);
    home.run(&["shelf", "show", "0417-001"]).says(3, &["record.toml", "backup"]);
    home.run(&["shelf", "check"]).says(1, &["0417-001: NOT as recorded", "0417-002: as recorded"]);
}

#[test]
fn answers_are_json_where_that_is_asked_for() {
    let home = with_capture();
    for args in [
        &["shelf", "list"][..],
        &["shelf", "show", "@last"],
        &["shelf", "show", "TG-7 #0417"],
        &["shelf", "note", "@last", "a"],
        &["shelf", "check"],
        &["shelf", "export", "@last", "x.bin"],
    ] {
        let ran = home.run(&[args, &["--json"]].concat()).says(0, &[]);
        let value: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
        assert!(ran.out.contains("0417-001"), "{value}");
    }
    let ran = home.run(&["shelf", "list", "--json"]);
    let list: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(list["captures"][0]["id"], "0417-001");
    assert_eq!(list["unfinished"], serde_json::json!([]));
}

/// A TG-7 whose line D7 is open: its records never agree.
const OPEN: &str = r#"format = 1
sheet = "TG-7"
specimen = "TG-7 #0900"
[[memory]]
kind = "ram"
name = "records"
width = 32
words = 0x10000
select = { CS1 = "low" }
[[line_fault]]
line = "D7"
kind = "open"
"#;

#[test]
fn what_did_not_agree_and_what_is_only_a_part_is_marked_wherever_it_is_named() {
    let home = Home::new();
    home.write("open.toml", OPEN);
    let args = ["capture", "--space", "records", "--port", "sim:open.toml"];
    home.run(&[&args[..], &["--passes", "2"]].concat()).says(1, &["never held still"]);
    // A line that is known to have moved was not the same in every word.
    home.run(&[&args[..], &["--note", "again"]].concat())
        .says(1, &["0900-002", "on D7"])
        .never_says(&["D7 was low", "D7 was high"]);
    for id in ["0900-001", "0900-002"] {
        let marks = ["NOT AGREED (4 blocks never held still)", "PART ONLY (records)"];
        for command in [&["shelf", "show"][..], &["shelf", "export"]] {
            let args = if command[1] == "show" { vec![id] } else { vec![id, "out.bin"] };
            let ran = home.run(&[command, &args].concat());
            let ran = ran.says(0, &[]);
            let headline = ran.out.lines().next().unwrap();
            assert!(marks.iter().all(|mark| headline.contains(mark)), "{ran}");
        }
        std::fs::remove_file(home.path("out.bin")).unwrap();
        for args in [&["shelf", "list"][..], &["shelf", "show", "TG-7 #0900"]] {
            let ran = home.run(args).says(0, &[]);
            let line = ran.out.lines().find(|line| line.contains(id)).unwrap();
            assert!(marks.iter().all(|mark| line.contains(mark)), "{ran}");
        }
    }
    let ran = home.run(&["shelf", "list", "--json"]);
    let list: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(list["captures"][0]["agreed"], false);
    assert_eq!(list["captures"][0]["part"], "records");

    home.run(&["capture", "--space", "store", "--range", "0x40+0x80"]).says(0, &[]);
    home.run(&["shelf", "list", "--specimen", "TG-7 #0417"])
        .says(0, &["PART ONLY (store words 0x40+0x80)"])
        .never_says(&["NOT AGREED"]);
    home.run(&["capture"]).says(0, &["0417-002"]);
    home.run(&["shelf", "show", "0417-002"]).says(0, &[]).never_says(&["PART ONLY", "NOT AGREED"]);
}

#[test]
fn an_empty_shelf_and_a_file_in_its_place_are_told_apart() {
    let home = Home::new();
    for what in ["list", "check"] {
        home.run(&["shelf", what]).says(0, &["nothing on the shelf in "]);
    }
    home.write("file", "not a folder");
    home.run(&["shelf", "list", "--shelf", "file"])
        .says(3, &["file", "a file is in the place of a folder", "--shelf"])
        .never_says(&["check the disk"]);
}

#[test]
fn a_copy_with_a_doubt_is_marked_in_the_list() {
    let home = Home::new();
    let bench =
        OPEN.replace("line = \"D7\"\nkind = \"open\"", "line = \"D5\"\nkind = \"stuck_low\"");
    assert_ne!(bench, OPEN);
    home.write("low.toml", bench);
    let args = ["capture", "--space", "records", "--port", "sim:low.toml"];
    home.run(&args).says(0, &["doubt: records: D5 was low in every word"]);
    home.run(&["shelf", "list"]).says(0, &["IN DOUBT (line-constant)"]);
    let ran = home.run(&["shelf", "list", "--json"]);
    let list: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(list["captures"][0]["doubts"], serde_json::json!(["line-constant"]));
    // Too few words to tell anything is no doubt about a line.
    home.run(&["capture", "--space", "records", "--range", "0x40+0x8"]).says(0, &["too few"]);
    home.run(&["shelf", "list", "--specimen", "TG-7 #0417"]).never_says(&["IN DOUBT"]);
}
