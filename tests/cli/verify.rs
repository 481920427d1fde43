//! `verify`: is the module what an image says?

use crate::home::Home;

#[test]
fn an_equal_image_is_0_and_a_changed_one_1_with_its_word() {
    let home = Home::new();
    home.run(&["capture", "--out", "copy.bin"]).says(0, &[]);
    for image in ["copy.bin", "0417-001", "@last"] {
        let ran = home.run(&["verify", image]).says(0, &["the module equals", "RAIL OFF"]);
        // `@last` will be another one tomorrow: what it was is told.
        let named = if image == "@last" { "0417-001" } else { image };
        assert!(ran.out.contains(named) && ran.out.contains("2.25 MiB"), "{ran}");
    }
    let mut copy = home.read("copy.bin");
    copy[0x1234 * 4] ^= 0x10;
    home.write("changed.bin", &copy);
    let words = ["differs from changed.bin in 1 word of", "store word 0x1234: image", ", module"];
    home.run(&["verify", "changed.bin"]).says(1, &words);
}

#[test]
fn many_differences_are_counted_and_the_first_named() {
    let home = Home::new();
    home.run(&["capture", "--space", "records", "--out", "copy.bin"]).says(0, &[]);
    let mut copy = home.read("copy.bin");
    (0..40).for_each(|word| copy[word * 4] ^= 1);
    home.write("changed.bin", &copy);
    home.run(&["verify", "changed.bin", "--space", "records"])
        .says(1, &["in 40 words", "records word 0x0:", "and 24 more"]);
}

#[test]
fn one_space_is_compared_with_its_part_of_a_capture_or_a_file_of_it() {
    let home = Home::new();
    home.run(&["capture"]).says(0, &[]);
    home.run(&["verify", "0417-001", "--space", "records"]).says(0, &["256 KiB"]);
    home.write("records.bin", &home.content("0417-001")[2 << 20..]);
    home.run(&["verify", "records.bin", "--space", "records"]).says(0, &["256 KiB"]);
    home.run(&["verify", "records.bin"])
        .says(2, &["records.bin holds 262144 bytes", "expected 2359296", "--space"])
        .never_says(&["RAIL ON"]);
    let args = ["capture", "--space", "records", "--range", "0x40+0x80"];
    home.run(&args).says(0, &["0417-002"]);
    home.run(&["verify", "@last"]).says(0, &["512 B"]);
    home.run(&["verify", "@last", "--space", "store"]).says(2, &["0417-002 holds no space store"]);
}

#[test]
fn what_is_not_there_is_2_and_the_rail_stays_off() {
    let home = Home::new();
    let cases = [
        ("0417-001", "is not on the shelf"),
        ("copy2.bin", "no such file, and no capture id"),
        (".", "this is a folder"),
    ];
    for (image, words) in cases {
        home.run(&["verify", image]).says(2, &[image, words]).never_says(&["RAIL ON"]);
    }
    let ran = home.run(&["verify", "@last"]);
    ran.says(2, &["TG-7 #0417", "not on the shelf", "shelf list"]).never_says(&["RAIL ON"]);
    home.run(&["verify"]).says(2, &["IMAGE"]);
    // A name keeps to its line, whatever is in it.
    home.write("two\nlines.bin", "abc");
    home.run(&["verify", "two\nlines.bin"]).says(2, &[r"two\nlines.bin holds 3 bytes"]);
    home.run(&["verify", "no\nfile.bin"]).says(2, &[r"no\nfile.bin: no such file"]);
    home.run(&["verify", "@last", "--sheet", "a\nb"]).says(2, &[r"a\nb: "]);
    home.run(&["verify", "@last", "--port", "sim:a\nb"]).says(2, &[r"port 'sim:a\nb': "]);
    home.write("empty.bin", "");
    home.run(&["verify", "empty.bin"]).says(2, &["empty.bin holds 0 bytes"]);
    home.run(&["verify", "empty.bin", "--space", "shop"]).says(2, &["no space shop"]);
}

#[test]
fn last_is_the_last_of_that_specimen() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &["0417-001"]);
    home.run(&["capture", "--space", "records", "--specimen", "TG-7 #0999"]).says(0, &[]);
    home.run(&["verify", "@last"]).says(0, &[]);
    home.run(&["verify", "@last", "--specimen", "TG-7 #0500"]).says(2, &["TG-7 #0500"]);
}

#[test]
fn a_capture_that_no_longer_fits_its_record_is_not_compared_with() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    home.flip("0417-001", 0x1_2345);
    home.run(&["verify", "@last"])
        .says(3, &["0417-001 does not fit its record", "shelf check 0417-001"])
        .never_says(&["RAIL ON"]);
}

#[test]
fn a_copy_of_another_specimen_may_be_compared_with_and_is_told() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &["0417-001"]);
    let twin = ["verify", "0417-001", "--specimen", "TG-7 #0999"];
    let ran = home.run(&[&twin[..], &["--quiet"]].concat());
    let ran = ran.says(0, &["the module equals 0417-001, a copy of another specimen, TG-7 #0417"]);
    assert!(
        ran.err.contains("0417-001 is a copy of TG-7 #0417, and the module here is TG-7 #0999")
    );
    home.run(&["shelf", "show", "TG-7 #0999"]).says(0, &["another specimen, TG-7 #0417"]);
    let ran = home.run(&[&twin[..], &["--json"]].concat()).says(0, &[]);
    assert_eq!(ran.events().last().unwrap()["report"]["copy_of"], "TG-7 #0417");
    home.run(&["verify", "0417-001"]).says(0, &[]).never_says(&["another specimen"]);
}

#[test]
fn the_history_names_the_capture_that_last_was() {
    let home = Home::new();
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    home.run(&["verify", "@last"]).says(0, &[]);
    home.run(&["shelf", "show", "TG-7 #0417"])
        .says(0, &["verified 0417-001 the module equals 0417-001"])
        .never_says(&["@last"]);
}

#[test]
fn quiet_hides_no_caution() {
    let home = Home::new();
    let bench = "format = 1\nsheet = \"TG-7\"\nspecimen = \"TG-7 #0900\"\n[adapter]\n\
                 sensed = false\n[[memory]]\nkind = \"ram\"\nname = \"records\"\nwidth = 32\n\
                 words = 0x10000\nselect = { CS1 = \"low\" }\n[[line_fault]]\nline = \"D7\"\n\
                 kind = \"open\"\n";
    home.write("open.toml", bench);
    let args = ["--space", "records", "--port", "sim:open.toml", "--quiet"];
    let ran = home.run(&[&["capture"], &args[..]].concat()).says(1, &[]);
    assert!(ran.err.contains("RAIL OFF - declared, not measured"), "{ran}");
    assert!(!ran.err.contains("RAIL ON"), "{ran}");
    let ran = home.run(&[&["verify", "0900-001"], &args[..]].concat());
    assert!(ran.err.contains("0900-001, which the module is compared with: NOT AGREED"), "{ran}");
}
