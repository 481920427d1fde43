//! `capture`: the copy, where it goes, and what is asked for.

use crate::home::Home;
use std::fs;

const WHOLE: usize = (2 << 20) + (256 << 10);

#[test]
fn the_first_command_of_all_gives_a_copy_and_says_that_the_bench_is_simulated() {
    let home = Home::new();
    let ran = home.run(&["capture", "--out", "copy.bin"]).says(0, &["agreed", "SHA-256"]);
    assert!(ran.out.starts_with("0417-001: 2.25 MiB of TG-7 #0417 agreed"), "{ran}");
    for words in ["SIMULATED BENCH", "RAIL ON - do not touch", "RAIL OFF - safe to move"] {
        assert!(ran.err.contains(words), "{words} is missing\n{ran}");
    }
    let copy = home.read("copy.bin");
    assert_eq!(copy.len(), WHOLE);
    assert!(copy == home.content("0417-001"), "the file is the capture");
}

#[test]
fn quiet_leaves_the_report_and_the_words_simulated_bench() {
    let home = Home::new();
    let ran = home.run(&["capture", "--space", "records", "--quiet"]).says(0, &["agreed"]);
    assert_eq!(ran.err.lines().count(), 1, "{ran}");
    assert!(ran.err.starts_with("SIMULATED BENCH"), "{ran}");
}

#[test]
fn out_takes_the_same_contents_and_refuses_others() {
    let home = Home::new();
    let args = ["capture", "--space", "records", "--out", "copy.bin"];
    home.run(&args).says(0, &[]);
    home.run(&args).says(0, &["0417-002"]);

    // Another size can be refused before the module is touched.
    home.write("copy.bin", b"a letter");
    home.run(&args)
        .says(2, &["copy.bin", "holds 8 bytes", "will have 262144", "name another file"])
        .never_says(&["RAIL ON"]);
    assert_eq!(home.read("copy.bin"), b"a letter");
    assert_eq!(home.captures(), 2);

    // Other contents of the same size are seen afterwards; the capture is not lost by that.
    let mut other = home.content("0417-001");
    other[0x123] ^= 1;
    home.write("copy.bin", &other);
    home.run(&args)
        .says(2, &["copy.bin", "from byte 0x123 on", "not replaced", "on the shelf as 0417-003"]);
    assert!(home.read("copy.bin") == other, "the file is as it was");
    assert!(home.content("0417-003") == home.content("0417-001"), "the capture is kept");
}

#[test]
fn out_where_no_file_can_be_is_refused_before_the_rail() {
    let home = Home::new();
    fs::create_dir(home.path("folder")).unwrap();
    let args = ["capture", "--out", "folder"];
    home.run(&args).says(2, &["folder is a folder"]).never_says(&["RAIL ON"]);
    let args = ["capture", "--space", "records", "--out", "none/copy.bin"];
    home.run(&args).says(2, &["none/copy.bin", "no such folder"]).never_says(&["RAIL ON"]);
}

#[test]
fn spaces_and_ranges_give_the_words_asked_for() {
    let home = Home::new();
    home.run(&["capture"]).says(0, &[]);
    let whole = home.content("0417-001");
    home.run(&["capture", "--space", "records"]).says(0, &["256 KiB"]);
    assert!(home.content("0417-002") == whole[2 << 20..], "the records come after the store");
    let args = ["capture", "--space", "store", "--range", "0x7E000+0x800"];
    home.run(&args).says(0, &["8 KiB"]);
    assert!(home.content("0417-003") == whole[0x7_E000 * 4..][..0x800 * 4], "that range");
    home.run(&["shelf", "show", "0417-003"]).says(0, &["words 0x7E000+0x800"]);
}

#[test]
fn spaces_and_ranges_that_are_not_there_are_refused_before_the_rail() {
    let home = Home::new();
    let cases: [(&[&str], &[&str]); 7] = [
        (&["--space", "shop"], &["no space shop", "store, records"]),
        (&["--range", "0x0+0x10"], &["--range needs --space"]),
        (&["--space", "records", "--range", "0xFFFF+2"], &["0xFFFF+2", "records", "0x0+0x10000"]),
        (&["--space", "records", "--range", "0x100"], &["0x100", "START+LENGTH"]),
        (&["--space", "records", "--range", "0x0+0"], &["length is 0"]),
        (&["--space", "records", "--range", "ten+1"], &["ten", "not a number"]),
        (&["--space", "records", "--range", "0xFFFFFFFF+9"], &["0xFFFFFFFF"]),
    ];
    for (options, words) in cases {
        let args = [&["capture"], options].concat();
        home.run(&args).says(2, words).never_says(&["RAIL ON"]);
    }
    assert_eq!(home.captures(), 0);
}

#[test]
fn an_address_that_is_the_same_in_both_readings_needs_no_0x() {
    let home = Home::new();
    let with = |range| home.run(&["capture", "--space", "records", "--range", range]);
    with("0+0xFA").says(0, &["1000 B"]);
    with("8+0x10").says(0, &[]);
    with("10+0x10").says(2, &["is 10 hexadecimal or decimal?", "0x10+0x10", "0xA+0x10"]);
}

#[test]
fn passes_are_2_to_100() {
    let home = Home::new();
    home.run(&["capture", "--space", "records", "--passes", "2"]).says(0, &["agreed"]);
    for passes in ["1", "101", "many", "0"] {
        let ran = home.run(&["capture", "--passes", passes]);
        ran.says(2, &["--passes"]).never_says(&["RAIL ON"]);
    }
}

#[test]
fn a_note_and_a_specimen_are_in_the_record() {
    let home = Home::new();
    let args = ["capture", "--space", "records", "--note", "after the storm", "--specimen"];
    home.run(&[&args[..], &["TG-7 #0999"]].concat()).says(0, &["0999-001", "TG-7 #0999"]);
    home.run(&["shelf", "list"]).says(0, &["0999-001", "after the storm", "simulated"]);
    home.run(&["shelf", "show", "0999-001"]).says(0, &["note: after the storm"]);
    let record = fs::read_to_string(home.shelf().join("captures/0999-001/record.toml")).unwrap();
    assert!(record.contains("after the storm") && record.contains("simulated = true"), "{record}");
}

#[test]
fn a_label_that_is_none_is_refused() {
    let home = Home::new();
    for label in ["0417", "#0417", "TG-7 #", "TG/7 #1", ""] {
        home.run(&["capture", "--specimen", label])
            .says(2, &["is no label"])
            .never_says(&["RAIL ON"]);
    }
}

#[test]
fn a_label_of_another_kind_is_refused_with_what_to_change() {
    let home = Home::new();
    home.run(&["capture", "--space", "records", "--specimen", "TG-8 #0417"])
        .says(4, &["TG-8 #0417", "the sheet is of TG-7", "--sheet", "--specimen \"TG-7 #0417\""])
        .never_says(&["RAIL ON"]);
    assert_eq!(home.captures(), 0);
}

#[test]
fn a_shelf_that_cannot_be_made_is_named() {
    let home = Home::new();
    home.write("file", "no folder");
    let mut command = home.bare(&["capture", "--space", "records", "--shelf", "file/shelf"]);
    crate::home::Running::new(&mut command)
        .finish()
        .says(3, &["file/shelf"])
        .never_says(&["RAIL ON"]);
}

#[test]
fn the_shelf_is_in_the_data_folder_unless_it_is_named() {
    let home = Home::new();
    let mut command = home.bare(&["capture", "--space", "records"]);
    crate::home::Running::new(&mut command).finish().says(0, &["buswright/shelf"]);
    assert!(home.path("data/buswright/shelf/captures/0417-001/content.bin").is_file());
    let mut command = home.bare(&["capture", "--space", "records"]);
    command.env("BUSWRIGHT_SHELF", home.path("mine"));
    crate::home::Running::new(&mut command).finish().says(0, &[]);
    assert!(home.path("mine/captures/0417-001/content.bin").is_file());
}

#[test]
fn a_range_that_means_nothing_is_told_before_the_port_is_opened() {
    let home = Home::new();
    let port = ["--port", "/dev/no-such"];
    for (options, words) in [
        (&["--range", "ten+1"][..], "not a number"),
        (&["--range", "0x0+0x10", "--sheet", "TG-7"], "--range needs --space"),
        (&["--space", "shop", "--sheet", "TG-7"], "no space shop"),
        (&["--specimen", "0417"], "is no label"),
    ] {
        let args = [&["capture"], &port[..], options].concat();
        home.run(&args).says(2, &[words]).never_says(&["no such port"]);
    }
    home.write("copy.bin", "short");
    let args = ["verify", "copy.bin", "--range", "0x1G+1"];
    home.run(&[&args[..], &port].concat()).says(2, &["0x1G"]).never_says(&["no such port"]);
}

#[test]
fn an_address_without_0x_is_not_guessed() {
    let home = Home::new();
    let args = ["capture", "--space", "records", "--range"];
    home.run(&[&args[..], &["100+10"]].concat())
        .says(2, &["0x100+10 if it is hexadecimal", "0x64+10 if it is decimal"])
        .never_says(&["RAIL ON"]);
    home.run(&[&args[..], &["0x100+10"]].concat()).says(0, &["40 B"]);
}

#[test]
fn blocks_with_the_same_trouble_are_named_together_and_words_in_full() {
    let home = Home::new();
    let bench = "format = 1\nsheet = \"TG-7\"\nspecimen = \"TG-7 #0900\"\n[[memory]]\n\
                 kind = \"ram\"\nname = \"records\"\nwidth = 32\nwords = 0x10000\n\
                 select = { CS1 = \"low\" }\n[[line_fault]]\nline = \"D7\"\nkind = \"open\"\n";
    home.write("open.toml", bench);
    let args = ["capture", "--space", "records", "--port", "sim:open.toml"];
    let ran = home.run(&args).says(1, &["4 blocks from word 0x0 of records on: in each, 16384 w"]);
    assert_eq!(ran.err.matches("differed between passes").count(), 1, "{ran}");
    let show = home.run(&["shelf", "show", "0900-001"]).says(0, &["never agreed"]);
    let word = show.out.lines().find(|line| line.contains("word 0x0:")).unwrap();
    let value = word.split(": ").nth(1).unwrap().split(' ').next().unwrap();
    assert!(value.starts_with("0x") && value.len() == 10, "{word}");
}

#[test]
fn a_copy_is_told_and_written_out_where_the_rail_stays_up() {
    let home = Home::new();
    home.write("fed.toml", fed(include_str!("../../src/sim/benches/tg-7.toml")));
    let args = ["capture", "--space", "records", "--port", "sim:fed.toml", "--out", "records.bin"];
    home.run(&args).says(
        3,
        &["0417-001: 256 KiB", "kept as ", "SHA-256 ", "powered through its lines", "do not touch"],
    );
    assert_eq!(home.read("records.bin"), home.content("0417-001"));
}

/// A bench whose lines feed the module while its rail is off.
fn fed(bench: &str) -> String {
    bench.replacen("[[memory]]", "[rail]\nfeeds_back = true\n\n[[memory]]", 1)
}
