//! The copy that leads back: found, taken, or refused.

use crate::rig::{Rig, report};
use buswright::app::{Event, Job, PlanOptions};
use serde_json::json;
use std::fs;

#[test]
fn a_copy_on_the_shelf_is_used_while_the_module_equals_it() {
    let mut rig = Rig::builtin("TG-7");
    let store = rig.contents("store");
    let mut image = store.clone();
    image[0x4_0000] ^= 0xFF;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let backup = |run: &crate::virtual_time::Run| {
        (report(run)["backup"].clone(), report(run)["backup_is_new"].clone())
    };
    assert_eq!(backup(&run), (json!("0417-001"), json!(true)));
    let (plan, _) = rig.stored(&run);
    assert_eq!(plan["backup"].as_str(), Some("0417-001"));
    let again = rig.plan(&image);
    assert_eq!(backup(&again), (json!("0417-001"), json!(false)));
    // Each plan is of its own time.
    assert_ne!(report(&run)["code"], report(&again)["code"]);

    // The recorder has logged since: no reason to refuse, and a new copy.
    let mut records = rig.contents("records");
    records[100] ^= 1;
    rig.set("records", &records);
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert_eq!(backup(&run), (json!("0417-002"), json!(true)));
    assert!(run.words().contains("the module equals no copy of it on the shelf any more"));
    // As it was: the older copy leads there, too.
    records[100] ^= 1;
    rig.set("records", &records);
    assert_eq!(backup(&rig.plan(&image)), (json!("0417-001"), json!(false)));
    rig.assert_unharmed(&store);
}

#[test]
fn a_copy_of_a_part_or_of_another_specimen_is_no_way_back() {
    let mut rig = Rig::builtin("TG-7");
    let options =
        buswright::app::CaptureOptions { space: Some("store".into()), ..Default::default() };
    assert_eq!(rig.job(Job::Capture(options)).outcome.code, 0);
    rig.wanted.specimen = Some("TG-7 #0999".into());
    assert_eq!(rig.capture().outcome.code, 0);
    rig.wanted.specimen = None;
    let mut image = rig.contents("store");
    image[0] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(report(&run)["backup"], json!("0417-002"), "{}", run.words());
    assert!(run.words().contains("no agreed copy of the whole module is on the shelf"));
}

#[test]
fn a_damaged_copy_is_told_of_and_not_used() {
    let mut rig = Rig::builtin("TG-7");
    assert_eq!(rig.capture().outcome.code, 0);
    let file = rig.folder.path().join("shelf/captures/0417-001/content.bin");
    let mut content = fs::read(&file).unwrap();
    content[5] ^= 1;
    fs::remove_file(&file).unwrap();
    fs::write(&file, content).unwrap();
    let image = rig.contents("store");
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert_eq!(report(&run)["backup"], json!("0417-002"));
    assert!(run.words().contains("0417-001 is no way back"), "{}", run.words());
}

#[test]
fn a_module_that_does_not_hold_still_is_not_planned_for() {
    let fault = "[[line_fault]]\nline = \"D3\"\nkind = \"unsteady\"\nchance = 0.5\n\
                 from = 0x9000\nwords = 0x20\n";
    let mut rig = Rig::made("S29AL008J", 16, (32, 0x8_0000), "amd", (fault, ""));
    let image = rig.contents("store");
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    assert!(run.outcome.text.contains("the module does not hold still"), "{}", run.words());
    assert!(!rig.folder.path().join("shelf/plans").exists());
    assert!(run.time_of(|event| matches!(event, Event::Rail { on: false, .. })).is_some());
    rig.assert_unharmed(&image);
}

#[test]
fn words_that_change_by_themselves_are_left_with_their_sector() {
    let zone = "[[zone]]\nspace = \"store\"\nname = \"clock\"\nrange = \"0x9000+0x20\"\n\
                live = true\n";
    let mut rig = Rig::made("S29AL008J", 16, (32, 0x8_0000), "amd", ("", zone));
    let store = rig.contents("store");
    assert_eq!(rig.capture().outcome.code, 0);
    let mut later = store.clone();
    later[0x9004 * 4] ^= 1;
    rig.set("store", &later);
    // That word is no reason for a new copy, nor is it compared with the image.
    let mut image = store.clone();
    image[0] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert_eq!(report(&run)["backup_is_new"], json!(false));
    assert_eq!(crate::rig::runs(&run), ["0-0 erase", "1-3 keep", "4-4 leave", "5-18 keep"]);
    assert!(run.outcome.text.contains("left alone: words of zone clock"), "{}", run.words());
    // Its neighbours cannot be changed either.
    image[0x8000 * 4] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    assert!(run.outcome.text.contains("store sector 4 stays as it is"), "{}", run.words());
}

#[test]
fn the_way_back_from_the_last_write() {
    let mut rig = Rig::builtin("TG-7");
    let back = || Job::Plan(PlanOptions::default());
    let run = rig.job(back());
    assert_eq!(run.outcome.code, 2, "{}", run.words());
    assert!(run.outcome.text.contains("TG-7 #0417 was never written"), "{}", run.words());
    let store = rig.contents("store");
    assert_eq!(rig.capture().outcome.code, 0);
    // What a write leaves behind: other contents, and a line in the history.
    let mut written = store.clone();
    written[0x2_0000..0x2_0010].fill(0);
    // The station's constants have changed since: they are its own.
    written[0x7_E000 * 4] ^= 1;
    rig.set("store", &written);
    let line = "{\"time\":\"2026-01-02T03:04:05Z\",\"specimen\":\"TG-7 #0417\",\
                \"event\":\"written\",\"capture\":\"0417-001\"}\n";
    let history = rig.folder.path().join("shelf/histories/0417_tg-7.jsonl");
    let before = fs::read_to_string(&history).unwrap();
    fs::write(&history, before + line).unwrap();
    let run = rig.job(back());
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let what = "back to what 0417-001 holds, as before the last write into store";
    assert_eq!(report(&run)["what"], json!(what));
    assert_eq!(report(&run)["backup"], json!("0417-002"));
    let (_, target) = rig.stored(&run);
    let mut expected = store.clone();
    expected[0x7_E000 * 4] ^= 1;
    assert!(target == expected);
    assert!(run.outcome.text.contains("records is ram") || run.words().contains("records is ram"));
}
