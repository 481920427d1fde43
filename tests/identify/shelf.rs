//! What is kept of an identification, and user chip files.

use super::{Made, Rig, chips, report};
use buswright::app::{CaptureOptions, Job};
use serde_json::json;
use std::fs;

#[test]
fn a_later_capture_carries_ids_and_tables() {
    let mut rig = Rig::builtin("TG-7b");
    assert_eq!(rig.identify().outcome.code, 0);
    assert_eq!(rig.job(Job::Capture(CaptureOptions::default())).outcome.code, 0);
    let record = rig.folder.path().join("shelf/captures/0102-001/record.toml");
    let record: toml::Table = fs::read_to_string(record).unwrap().parse().unwrap();
    let chip = &record["space"][0]["chip"][0];
    assert!(chip["ids"].as_str().unwrap().starts_with("0x04 0x22F9"), "{chip}");
    assert!(chip["cfi"].as_str().unwrap().starts_with("51 52 59 02 00"), "{chip}");
    assert_eq!(chip["lock_map"].as_str(), Some("none of 71 sectors locked"));
    assert!(chip["part"].as_str().unwrap().starts_with("MBM29LV320BE"), "{chip}");
    let history = rig.folder.path().join("shelf/histories/0102_tg-7b.jsonl");
    assert!(fs::read_to_string(history).unwrap().contains("\"event\":\"identified\""));
    // The next one finds the copy again, by checksums.
    let run = rig.identify();
    assert_eq!(report(&run)["spaces"][0]["equals"], json!(["0102-001 (TG-7b #0102)"]));
}

#[test]
fn a_chip_file_adds_a_part() {
    let made = Made::of("28F320C3B", 16, (16, 0x20_0000), "intel");
    let mut rig = Rig::new(&made);
    let ids = chips(&rig.identify())[0]["raw_ids"].clone();
    let file = rig.folder.path().join("mine.toml");
    let (maker, device) = (ids[0].as_str().unwrap(), ids[1].as_str().unwrap());
    let text = format!(
        "[[chip]]\nname = \"Tidemark 32\"\nmaker = {maker}\ndevice = [{device}]\nbus = \"x16\"\n\
         size = \"4M\"\nfamily = \"intel\"\nunlock = \"none\"\nsource = \"made up for a test\"\n"
    );
    fs::write(&file, text).unwrap();
    rig.options.chips = vec![file];
    let run = rig.identify();
    let parts = chips(&run)[0]["parts"].as_array().unwrap();
    assert!(parts.contains(&json!("Tidemark 32")), "{parts:?} {}", run.words());
    rig.options.chips = vec!["nowhere.toml".into()];
    let run = rig.identify();
    assert_eq!(run.outcome.code, 2);
    assert!(run.outcome.text.contains("nowhere.toml"), "{}", run.outcome.text);
}
