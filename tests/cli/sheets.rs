//! `sheet`: which there are, is this one good, a new one, does it fit?

use crate::home::Home;
use std::fmt::Write;
use std::fs;

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
    let ran = home.run(&["sheet", "list"]).says(0, &["TG-7", "TG-7b", "(built in)"]);
    for name in ran.out.lines().filter_map(|line| line.split(' ').next()) {
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
    home.run(&["sheet", "check", "post.toml"]).says(2, &["check it with --as-adapter"]);
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
    // A module sheet is no adapter sheet, and the check that is advised is of adapter sheets.
    home.write("small.toml", SMALL);
    for file in ["small.toml", "wrong.toml"] {
        home.run(&["capture", "--adapter", file]).says(2, &[file, "a module sheet", "--sheet"]);
    }
    home.run(&["capture", "--adapter", "TG-7"]).says(2, &["a built-in module sheet", "--sheet"]);
    home.write("two.toml", POST.replace("board", "bord") + "nonsense = 1\n");
    home.run(&["capture", "--adapter", "two.toml"])
        .says(2, &["more: `buswright sheet check --as-adapter` names them"]);
    home.run(&["capture", "--sheet", "none.toml"]).says(2, &["none.toml", "built in are"]);
}

#[test]
fn every_fault_of_every_file_is_named() {
    let home = Home::new();
    let wrong =
        SMALL.replace("width = 32", "width = 31").replace("3300", "33") + "[pins]\nX1 = \"A20\"\n";
    home.write("wrong.toml", &wrong);
    home.write("small.toml", SMALL);
    let args = ["sheet", "check", "wrong.toml", "small.toml", "none.toml"];
    let ran = home.run(&args).says(2, &["small.toml: good", "none.toml: No such file"]);
    let lines: Vec<_> = ran.err.lines().filter(|line| line.starts_with("wrong.toml:")).collect();
    let starts =
        ["wrong.toml:4: rail_mv:", "wrong.toml:9: space.width:", "wrong.toml:14: pins.X1:"];
    assert!(
        lines.len() == 3 && lines.iter().zip(starts).all(|(line, start)| line.starts_with(start)),
        "{ran}"
    );

    let mut args = args.to_vec();
    args.push("--json");
    let ran = home.run(&args);
    let [value] = ran.events().try_into().unwrap();
    let files = value["files"].as_array().unwrap();
    assert_eq!(
        files.iter().map(|file| file["good"].as_bool().unwrap()).collect::<Vec<_>>(),
        [false, true, false]
    );
    assert_eq!(files[0]["faults"][1]["line"], 9);
    assert_eq!(files[1]["sheet"]["spaces"][0]["words"], 0x4000);
    assert!(files[2]["error"].as_str().unwrap().contains("No such file"));
}

#[test]
fn lines_without_a_pin_are_a_warning_only() {
    let home = Home::new();
    home.write("small.toml", format!("{SMALL}[pins]\nX1 = \"?\"\n"));
    home.run(&["sheet", "check", "small.toml"])
        .says(0, &["small.toml: good", "no pin for D0-D31, A0-A13", "pins X1 are not traced"]);
}

#[test]
fn what_is_no_file_or_too_long_is_refused_and_reading_ends() {
    let home = Home::new();
    fs::create_dir(home.path("folder.toml")).unwrap();
    rustix::fs::mkfifoat(rustix::fs::CWD, home.path("pipe.toml"), 0o600.into()).unwrap();
    home.write("long.toml", format!("{SMALL}#{}", "x".repeat(1 << 20)));
    let cases = [
        ("folder.toml", "this is a folder"),
        ("pipe.toml", "this is a pipe"),
        ("/dev/zero", "this is a device"),
        ("long.toml", "at most 1048576 are of use here"),
    ];
    for (file, words) in cases {
        home.run(&["sheet", "check", file]).says(2, &[file, words]);
        home.run(&["capture", "--sheet", file]).says(2, &[file, words]);
    }
    home.write("noise.toml", b"format = 1\nname = \"\xFF\"\n");
    home.run(&["sheet", "check", "noise.toml"])
        .says(2, &["noise.toml: byte 0x13 is no text (UTF-8)"]);
}

#[test]
fn a_new_sheet_names_its_blanks_and_is_good_when_they_are_filled() {
    let home = Home::new();
    let ran = home.run(&["sheet", "new", "XY-1"]).says(0, &["name = \"XY-1\"", "rail_mv = 0"]);
    home.run(&["sheet", "new", "XY-1", "--out", "xy.toml"]).says(0, &["xy.toml", "sheet check"]);
    assert_eq!(String::from_utf8(home.read("xy.toml")).unwrap(), ran.out);
    home.run(&["sheet", "check", "xy.toml"]).says(
        2,
        &["rail_mv: expected", "address_lines: expected", "width: expected", "words: expected"],
    );
    let filled = ran
        .out
        .replace("rail_mv = 0", "rail_mv = 5000")
        .replace("address_lines = 0", "address_lines = 16")
        .replace("width = 0", "width = 8")
        .replace("words = 0", "words = 0x1_0000");
    home.write("filled.toml", filled);
    home.run(&["sheet", "check", "filled.toml"]).says(0, &["filled.toml: good. XY-1", "64 KiB"]);

    // The same again is no harm, anything else is not replaced.
    home.run(&["sheet", "new", "XY-1", "--out", "xy.toml"]).says(0, &[]);
    home.run(&["sheet", "new", "XY-2", "--out", "xy.toml"]).says(2, &["xy.toml", "not replaced"]);
    assert_eq!(String::from_utf8(home.read("xy.toml")).unwrap(), ran.out);
    home.run(&["sheet", "new", "tg-7"]).says(2, &["built-in", "another name"]);
    home.run(&["sheet", "new", " "]).says(2, &["cannot be the name of a sheet"]);
    home.run(&["sheet", "new", "XY-1", "--out", "none/xy.toml"]).says(2, &["none/xy.toml"]);
    let [value] = home.run(&["sheet", "new", "XY-1", "--json"]).events().try_into().unwrap();
    assert!(value["text"].as_str().unwrap().contains("format = 1"));
}

#[test]
fn the_users_own_sheets_are_listed_and_found_by_name() {
    let home = Home::new();
    let folder = home.known().with_file_name("sheets");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("small.toml"), SMALL).unwrap();
    fs::write(folder.join("post.toml"), POST).unwrap();
    fs::write(folder.join("wrong.toml"), SMALL.replace("width", "widht")).unwrap();
    fs::write(folder.join("notes.txt"), "no sheet").unwrap();
    home.run(&["sheet", "list"])
        .says(
            0,
            &[
                "PT",
                "small",
                "sheets/small.toml)",
                "Post",
                "adapter",
                "wrong.toml: no good sheet, 1 faults",
            ],
        )
        .never_says(&["notes.txt"]);
    let [value] = home.run(&["sheet", "list", "--json"]).events().try_into().unwrap();
    assert_eq!(value["sheets"].as_array().unwrap().len(), 5);
    home.run(&["sheet", "check", "small"]).says(0, &["small.toml: good"]);
    home.run(&["sheet", "fit", "small", "--adapter", "post"]).says(1, &["has no [pins]"]);
    home.run(&["capture", "--sheet", "wrong"]).says(2, &["wrong.toml:9"]);
}

/// An adapter sheet for the connector of the TG-7.
fn socket() -> String {
    let mut text = String::from("format = 1\nname = \"TG socket\"\n[lines]\n");
    let data = (0..32).map(|n| (format!("D{n}"), n + 3));
    let address = (0..19).map(|n| (format!("A{n}"), n + 35));
    let control = (54..).zip(["S0", "S1", "RD", "WR"]).map(|(pin, name)| (name.to_owned(), pin));
    for (line, pin) in data.chain(address).chain(control) {
        writeln!(text, "{line} = \"J1-{pin}\"").unwrap();
    }
    text
}

#[test]
fn a_module_is_followed_to_an_adapter_line_by_line() {
    let home = Home::new();
    home.write("socket.toml", socket());
    let ran = home.run(&["sheet", "fit", "TG-7", "--adapter", "socket.toml"]);
    let ran = ran.says(0, &["TG-7 on TG socket: fits", "voltages, shape slots"]);
    let line =
        |name: &str| ran.out.lines().find(|line| line.trim_start().starts_with(name)).unwrap();
    assert_eq!(
        line("D7 ").split_whitespace().collect::<Vec<_>>(),
        ["D7", "J1-10", "adapter", "line", "D7"]
    );
    assert_eq!(line("OE ").split_whitespace().last(), Some("RD"));
    assert_eq!(ran.out.lines().filter(|line| line.contains("adapter line ")).count(), 32 + 19 + 4);

    let swapped = socket()
        .replace("D4 = \"J1-7\"", "D4 = \"J1-8\"")
        .replace("D5 = \"J1-8\"", "D5 = \"J1-7\"")
        .replace("A18 = \"J1-53\"\n", "")
        .replace("WR = \"J1-57\"", "WR = \"J1-2\"");
    home.write("swapped.toml", swapped);
    let args = ["sheet", "fit", "TG-7", "--adapter", "swapped.toml"];
    home.run(&args).says(
        1,
        &[
            "does not fit, for 5 reasons",
            "missing: module line D4 on pin J1-7 leads to adapter line D5",
            "missing: module line A18 is on pin J1-53, which no line",
            "refused for safety: adapter line WR leads to pin J1-2, which is VCC",
        ],
    );
    let mut args = args.to_vec();
    args.push("--json");
    let [value] = home.run(&args).events().try_into().unwrap();
    assert_eq!((&value["fits"], value["lines"].as_array().unwrap().len()), (&false.into(), 55));

    // Pulls are looked at too: an active-high select needs a pull-down.
    home.write(
        "high.toml",
        include_str!("../../src/module/sheets/tg-7.toml")
            .replace("CS1 = \"low\"", "CS1 = \"high\""),
    );
    home.run(&["sheet", "fit", "high.toml", "--adapter", "socket.toml"])
        .says(1, &["refused for safety: select CS1", "pulls its line S1 high"]);
    home.run(&["sheet", "fit", "TG-7"])
        .says(0, &["D0-D31, address lines A0-A18", "CS0, CS1, OE, WE"]);
    home.run(&["sheet", "fit", "none.toml"]).says(2, &["none.toml"]);
}

#[test]
fn the_sheet_and_the_bench_agree_where_the_constants_are() {
    for name in ["TG-7", "TG-7b", "TG-7c"] {
        let home = Home::new();
        let bench = fs::read_to_string(format!(
            "{}/src/sim/benches/{}.toml",
            env!("CARGO_MANIFEST_DIR"),
            name.to_lowercase()
        ));
        home.write("bench.toml", bench.unwrap());
        let [value] = home.run(&["sheet", "check", name, "--json"]).events().try_into().unwrap();
        let zone = &value["files"][0]["sheet"]["zones"][0];
        assert_eq!((&zone["name"], &zone["keep"]), (&"constants".into(), &true.into()));
        let range = format!("0x{:X}+0x40", zone["start"].as_u64().unwrap());
        home.run(&[
            "capture",
            "--port",
            "sim:bench.toml",
            "--space",
            "store",
            "--range",
            &range,
            "--out",
            "c.bin",
        ])
        .says(0, &[]);
        assert!(home.read("c.bin").starts_with(b"STATION "), "{name}");
    }
}
