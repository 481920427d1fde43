//! The command on the built-in benches: what it says, stores and answers.

use crate::home::Home;
use std::fs;

/// The code in what was said.
fn code(text: &str) -> String {
    let after = text.split("plan ").nth(1).unwrap_or_else(|| panic!("no plan in: {text}"));
    after[..6].to_owned()
}

#[test]
fn a_newer_program_on_tg_7() {
    let home = Home::new();
    home.run(&["capture", "--space", "store", "--out", "store.bin", "--quiet"]).says(0, &[]);
    let mut image = home.read("store.bin");
    image[0x2_1000..0x2_1005].copy_from_slice(b"3.00 ");
    // Blank until now: no erase is needed there.
    let blank = 0x16_0000;
    assert!(image[blank..blank + 0x100].iter().all(|byte| *byte == 0xFF));
    image[blank..blank + 0x100].fill(0x42);
    // Everybody's constants are their own.
    image[0x7_E000 * 4..0x7_E010 * 4].fill(0);
    home.write("new.bin", &image);
    let ran = home.run(&["plan", "new.bin", "--space", "store"]).says(
        0,
        &[
            "for TG-7 #0417 (simulated): the contents of new.bin into store",
            "way back  0417-002, taken for this plan; the module equals it now",
            "  sectors  word address     byte address",
            "  4        0x8000+0x8000    0x20000+0x20000   erase, program 32768 words",
            "program 64 words, no erase",
            "changes   2 sectors, 128.25 KiB to program",
            "zone constants of store (0x7E000+0x800) keeps the words of this module",
            "erases 1 sector once",
            "0417-002 is the only way back",
            "a changed instrument is unproven",
            "RAIL OFF",
        ],
    );
    let code = code(&ran.out);
    assert!(
        ran.out.contains(&format!("next      buswright write {code} --confirm \"TG-7 #0417\""))
    );
    let target = fs::read(home.shelf().join("plans").join(&code).join("target.bin")).unwrap();
    assert_eq!(target[0x7_E000 * 4], home.read("store.bin")[0x7_E000 * 4]);
    home.run(&["shelf", "show", "TG-7 #0417"]).says(0, &[&format!("planned 0417-002 plan {code}")]);
    // Named, the zone is taken: one sector more.
    home.run(&["plan", "new.bin", "--space", "store", "--take", "constants"])
        .says(0, &["3 sectors", "zone constants of store (0x7E000+0x800) is TAKEN from the image"]);
}

#[test]
fn a_plan_that_changes_nothing_has_no_code() {
    let home = Home::new();
    home.run(&["capture", "--quiet"]).says(0, &[]);
    let ran = home.run(&["plan", "@last", "--json"]).says(0, &[]);
    let events = ran.events();
    let report = &events.last().unwrap()["report"];
    assert_eq!(report["job"], "plan");
    assert!(report["code"].is_null() && report["next"].is_null(), "{report}");
    assert_eq!(report["backup"], "0417-001");
    assert_eq!(report["spaces"][0]["runs"][0]["last"], 18);
    assert!(!home.shelf().join("plans").exists());
}

#[test]
fn what_kept_zones_keep_is_not_called_held() {
    let home = Home::new();
    home.write("z.bin", vec![0; 0x800 * 4]);
    let zone = ["plan", "z.bin", "--space", "store", "--range", "0x7E000+0x800"];
    home.run(&zone)
        .says(
            4,
            &[
                "nothing of z.bin can get onto the module",
                "zone constants of store (0x7E000+0x800) keeps the words of this module",
                "--take constants takes",
            ],
        )
        .never_says(&["RAIL ON", "holds that already"]);
    home.run(&[&zone[..], &["--take", "constants"]].concat()).says(0, &["is TAKEN", "next "]);

    home.run(&["capture", "--space", "store", "--out", "store.bin", "--quiet"]).says(0, &[]);
    let mut image = home.read("store.bin");
    for word in 0..16 {
        image[(0x7_E000 + word) * 4] ^= 0xFF;
    }
    home.write("other.bin", &image);
    home.run(&["plan", "other.bin", "--space", "store"]).says(
        0,
        &["the module holds that already, but for 16 words in zones that keep theirs (--take"],
    );
}

#[test]
fn boot_sectors_and_the_constants_of_tg_7b() {
    let home = Home::new();
    home.write("b.toml", include_str!("../../src/sim/benches/tg-7b.toml"));
    let on = |args: &[&str]| home.run(&[&["--port", "sim:b.toml"], args].concat());
    on(&["capture", "--out", "b.bin", "--quiet"]).says(0, &["0102-001"]);
    let mut image = home.read("b.bin");
    // A word in boot sector 0, one in the constants (sector 1), one in sector 3.
    for word in [0x10, 0x1010, 0x3010] {
        image[word * 2] ^= 0x5A;
    }
    home.write("b.bin.new", &image);
    let ran = on(&["plan", "b.bin.new", "--json", "--quiet"]).says(0, &[]);
    let events = ran.events();
    let report = &events.last().unwrap()["report"];
    let runs: Vec<_> = report["spaces"][0]["runs"].as_array().unwrap().iter().collect();
    let row = |at: usize| {
        let run = runs[at];
        let number = |key: &str| run[key].as_u64().unwrap();
        (number("first"), number("last"), number("address"), run["action"].as_str().unwrap())
    };
    assert_eq!(row(0), (0, 0, 0, "erase"));
    assert_eq!(row(1), (1, 2, 0x1000, "keep"));
    assert_eq!(row(2), (3, 3, 0x3000, "erase"));
    assert_eq!(row(3), (4, 70, 0x4000, "keep"));
    assert_eq!(report["sectors"], 2);
    assert!(report["times"]["erase_s"].as_f64().unwrap() > 0.5, "{report}");
    // The zone fills its sector: taken, it is one sector more.
    let ran = on(&["plan", "b.bin.new", "--take", "constants", "--json", "--quiet"]).says(0, &[]);
    assert_eq!(ran.events().last().unwrap()["report"]["sectors"], 3);
}

#[test]
fn four_chips_of_tg_7c_and_blank_words() {
    let home = Home::new();
    home.write("c.toml", include_str!("../../src/sim/benches/tg-7c.toml"));
    let on = |args: &[&str]| home.run(&[&["--port", "sim:c.toml"], args].concat());
    on(&["plan", "@blank", "--space", "store", "--range", "0x8000+0x10000"]).says(
        0,
        &[
            "blank words into store",
            "  0-1      0x0+0x20000      0x0+0x80000",
            "erase, program 65444 words",
            "U1, U2, U3, U4 Am29LV040B",
        ],
    );
    // Blank where it is blank already: nothing; kept words stay programmed.
    let ran = on(&["plan", "@blank"]).says(0, &["0051-001", "keeps the words of this module"]);
    assert!(ran.out.contains("erase, nothing to program"), "{ran}");
    on(&["capture", "--space", "store", "--out", "c.bin", "--quiet"]).says(0, &[]);
    let code = code(&ran.out);
    let target = fs::read(home.shelf().join("plans").join(code).join("target.bin")).unwrap();
    let zone = 0x7_E000 * 4..0x7_E800 * 4;
    assert_eq!(target[zone.clone()], home.read("c.bin")[zone.clone()]);
    assert!(target[..zone.start].iter().chain(&target[zone.end..]).all(|byte| *byte == 0xFF));
}

#[test]
fn words_that_are_never_touched_refuse_the_job() {
    let home = Home::new();
    let sheet =
        include_str!("../../src/module/sheets/tg-7.toml").replace("keep = true", "keep_off = true");
    home.write("off.toml", sheet);
    home.run(&["plan", "@blank", "--sheet", "off.toml"])
        .says(4, &["zone constants of store is never to be touched"])
        .never_says(&["RAIL ON"]);
}
