//! `sheet`: which are built in, and is this one good?

use crate::home::Home;

const SMALL: &str = r#"format = 1
name = "PT"
title = "small"
rail_mv = 3300
address_lines = 14
[[space]]
name = "store"
kind = "flash"
width = 32
words = 0x4000
select = { CS0 = "low" }
timing = { access_ns = 150 }
"#;

const POST: &str = "format = 1\nname = \"Post\"\nboard = \"post\"\n[lines]\nD0 = \"J1-3\"\n";

#[test]
fn built_in_sheets_are_listed_and_good() {
    let home = Home::new();
    let ran = home.run(&["sheet", "list"]).says(0, &["TG-7", "TG-7b"]);
    for name in ran.out.lines() {
        home.run(&["sheet", "check", name]).says(0, &[name, "good", "rail 3300 mV", "store"]);
    }
}

#[test]
fn a_good_file_is_described() {
    let home = Home::new();
    home.write("small.toml", SMALL);
    home.run(&["sheet", "check", "small.toml"])
        .says(0, &["small.toml: good", "store (flash, 32 bits)", "0x0+0x4000", "64 KiB"]);
}

#[test]
fn a_wrong_key_is_named_with_file_and_line() {
    let home = Home::new();
    home.write("wrong.toml", SMALL.replace("width", "widht"));
    home.write("small.toml", SMALL);
    // One bad sheet does not hide the others.
    let ran = home.run(&["sheet", "check", "wrong.toml", "small.toml"]);
    let ran = ran.says(2, &["wrong.toml:9", "widht", "did you mean `width`", "small.toml: good"]);
    assert!(ran.err.contains("wrong.toml:9"), "{ran}");
    home.write("rail.toml", SMALL.replace("3300", "-1"));
    home.run(&["sheet", "check", "rail.toml"]).says(2, &["rail.toml:4", "rail_mv"]);
    home.write("broken.toml", "format = [");
    home.run(&["sheet", "check", "broken.toml"]).says(2, &["broken.toml:1"]);
}

#[test]
fn what_is_no_sheet_is_said() {
    let home = Home::new();
    home.run(&["sheet", "check", "none.toml"]).says(2, &["none.toml", "TG-7, TG-7b"]);
    home.run(&["sheet", "check"]).says(2, &["FILES"]);
    home.write("noise.toml", [0xFF, 0xFE, 0x00, 0x80]);
    home.run(&["sheet", "check", "noise.toml"]).says(2, &["noise.toml"]);
    home.run(&["sheet"]).says(2, &["check", "list"]);
}

#[test]
fn adapter_sheets_are_checked_too() {
    let home = Home::new();
    home.write("post.toml", POST);
    home.run(&["sheet", "check", "--as-adapter", "post.toml"])
        .says(0, &["post.toml: good", "Post", "1 line"]);
    home.write("wrong.toml", POST.replace("board", "bord"));
    home.run(&["sheet", "check", "--as-adapter", "wrong.toml"])
        .says(2, &["wrong.toml:3", "bord", "did you mean `board`"]);
    home.run(&["sheet", "check", "post.toml"]).says(2, &["post.toml:"]);
}

#[test]
fn a_job_refuses_a_wrong_sheet_before_it_looks_for_an_adapter() {
    let home = Home::new();
    home.write("wrong.toml", SMALL.replace("width", "widht"));
    home.write("post.toml", POST.replace("board", "bord"));
    for (option, file, words) in
        [("--sheet", "wrong.toml", "wrong.toml:9"), ("--adapter", "post.toml", "post.toml:3")]
    {
        home.run(&["capture", option, file]).says(2, &[words]).never_says(&["adapter bench:"]);
    }
    home.run(&["capture", "--sheet", "none.toml"]).says(2, &["none.toml", "built in are"]);
}
