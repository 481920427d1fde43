//! Every family on every bus: what its sectors, units and locks make of a plan.

use crate::rig::{Rig, report, runs};
use buswright::app::{Job, WriteOptions};
use serde_json::json;

/// Chip, lines of a chip, bits and words, family; then the sectors in words from the first on that
/// the test changes: the second sector.
type Row = (&'static str, u32, (u32, u32), &'static str, [u32; 2], u32);

/// Sectors by the datasheets named in the chip models: first sector, second sector, how many.
const ROWS: &[Row] = &[
    ("Am29LV040B", 8, (8, 0x8_0000), "amd", [0x1_0000, 0x1_0000], 8),
    ("Am29LV040B", 8, (32, 0x8_0000), "amd", [0x1_0000, 0x1_0000], 8),
    ("S29AL008J", 16, (16, 0x8_0000), "amd", [0x2000, 0x1000], 19),
    ("S29AL008J", 8, (32, 0x10_0000), "amd", [0x4000, 0x2000], 19),
    ("MBM29LV320BE", 16, (16, 0x20_0000), "amd", [0x1000, 0x1000], 71),
    ("SST39VF040", 8, (32, 0x8_0000), "jedec", [0x1000, 0x1000], 128),
    ("SST39VF1601", 16, (16, 0x10_0000), "jedec", [0x800, 0x800], 512),
    ("AT29C040A", 8, (32, 0x8_0000), "page", [0x100, 0x100], 2048),
    ("28F320J3A", 16, (32, 0x20_0000), "intel", [0x1_0000, 0x1_0000], 32),
    ("28F320J3A", 8, (8, 0x40_0000), "intel", [0x2_0000, 0x2_0000], 32),
    ("28F320C3B", 16, (16, 0x20_0000), "intel", [0x1000, 0x1000], 71),
];

#[test]
fn one_changed_word_changes_its_sector_on_every_bus() {
    for &(chip, lane, size, family, [first, second], count) in ROWS {
        let what = format!("{chip} on {lane} of {} lines", size.0);
        // A part of 5 V.
        let five = chip == "AT29C040A";
        let rail = "[adapter]\nrails_mv = [5000]\nio_high_mv = 5000\n";
        let mut rig = Rig::made(chip, lane, size, family, (if five { rail } else { "" }, ""));
        if five {
            rig.edit_sheet("rail_mv = 3300", "rail_mv = 5000");
        }
        let bytes = size.0 as usize / 8;
        let mut image = rig.contents("store");
        let second = first as usize * bytes..(first + second) as usize * bytes;
        image[..].iter_mut().zip(0_u32..).take(second.end).for_each(|(byte, n)| *byte = n as u8);
        rig.set("store", &image);
        let before = rig.contents("store");
        image[second.start + bytes] ^= 0x55;
        let run = rig.plan(&image);
        assert_eq!(run.outcome.code, 0, "{what}: {}", run.words());
        let last = count - 1;
        let expected = ["0-0 keep".into(), "1-1 erase".into(), format!("2-{last} keep")];
        assert_eq!(runs(&run), expected, "{what}");
        assert_eq!(report(&run)["spaces"][0]["runs"][1]["byte_address"], json!(second.start));
        let (plan, target) = rig.stored(&run);
        assert!(target == image, "{what}");
        assert_eq!(plan["specimen"].as_str(), Some("MADE #1"));
        rig.assert_unharmed(&before);
        // Blank words are programmed where that is enough.
        image[..].fill(0xFF);
        rig.set("store", &image);
        image[second.start..second.start + bytes].fill(0x11);
        let run = rig.plan(&image);
        let action = if family == "page" { "erase" } else { "program" };
        assert_eq!(runs(&run)[1], format!("1-1 {action}"), "{what}");
    }
}

#[test]
fn locks_that_a_command_opens_are_said_and_those_it_does_not_stay() {
    let locked = "[[chip_fault]]\nmemory = \"store\"\nchip = 1\nkind = \"locked\"\nsectors = [3]\n";
    let mut rig = Rig::made("S29AL008J", 16, (32, 0x8_0000), "amd", (locked, ""));
    let before = rig.contents("store");
    // Nothing but the locked sector differs: nothing can be done.
    let mut image = before.clone();
    image[0x4000 * 4] ^= 1;
    let run = rig.plan(&image);
    let text = &run.outcome.text;
    assert_eq!(run.outcome.code, 4, "{text}");
    assert!(text.contains("store sector 3 stays as it is, it is locked"), "{text}");
    assert!(text.contains("1 word of it is otherwise in the image"), "{text}");
    // Another one, too: a plan for that, and the answer is no.
    image[0] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 1, "{}", run.words());
    let expected = ["0-0 erase", "1-2 keep", "3-3 locked", "4-18 keep"];
    assert_eq!(runs(&run), expected);
    assert_eq!(report(&run)["words_left"], json!(1));
    let (_, target) = rig.stored(&run);
    assert_eq!(target[0x4000 * 4], before[0x4000 * 4]);
    rig.assert_unharmed(&before);
    // A good end says once more what the module does not hold.
    let code = report(&run)["code"].as_str().unwrap().to_owned();
    let confirm = "MADE #1".to_owned();
    let run = rig.job(Job::Write(WriteOptions::Plan { code, confirm }));
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let left = "does NOT hold the whole image: store sector 3 stays as it is, it is locked";
    assert!(run.outcome.text.contains(left), "{}", run.words());

    // All sectors of this one are locked when the rail comes on, each with a lock of its own.
    let mut rig = Rig::made("28F320C3B", 16, (16, 0x20_0000), "intel", ("", ""));
    let run = rig.plan(&vec![0; 0x40_0000]);
    assert!(run.outcome.text.contains("unlocked for it, then locked again"), "{}", run.words());
    assert!(!run.outcome.text.contains("all locks are cleared"), "{}", run.words());

    // The command of this one clears all locks.
    let mut rig = Rig::made(
        "28F320J3A",
        16,
        (16, 0x20_0000),
        "intel",
        (&locked.replace("chip = 1", "chip = 0"), ""),
    );
    let mut image = rig.contents("store");
    image[3 * 0x2_0000] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert!(run.outcome.text.contains("all locks are cleared"), "{}", run.words());
    assert_eq!(report(&run)["spaces"][0]["runs"][1]["unlock"], json!(true));
}

#[test]
fn what_cannot_be_written_is_said_and_refused_only_if_it_differs() {
    // A pin that nobody traced may be a write strobe: no command is sent.
    let mut rig = Rig::made("AT29C040A", 8, (16, 0x8_0000), "page", ("", ""));
    rig.edit_sheet("[[space]]", "[pins]\n\"J1-1\" = \"?\"\n[[space]]");
    let before = rig.contents("store");
    let run = rig.plan(&before);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert_eq!(report(&run)["code"], json!(null));
    let mut image = before.clone();
    image[7] ^= 1;
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    let text = &run.outcome.text;
    assert!(text.contains("store cannot be written here"), "{text}");
    assert!(text.contains("differs there in 1 word"), "{text}");
    rig.assert_unharmed(&before);
}

#[test]
fn a_chip_made_for_another_supply_is_not_planned_for() {
    let mut rig = Rig::made("AT29C040A", 8, (8, 0x8_0000), "page", ("", ""));
    let before = rig.contents("store");
    let run = rig.plan(&vec![0; 0x8_0000]);
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    let said = "a chip is made for 4500 mV to 5500 mV, the rail is 3300 mV";
    assert!(run.outcome.text.contains(said), "{}", run.words());
    rig.assert_unharmed(&before);
}
