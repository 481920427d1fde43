//! Identification of QEMU's flash through the whole chain: ids, query tables and sectors of parts
//! that this project did not write, boot-sector layouts included.
//!
//! Ids, sizes and sectors as measured with QEMU 7.2 and 10.0: `virt` has two x16 parts of the Intel
//! family with ids 0089/0018 and sectors of 128 KiB; `musicpal` has one x16 part of the AMD family
//! with ids 00BF/236D.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;
#[path = "support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{IdentifyOptions, Job, Wanted};
use buswright::bus::Word;
use serde_json::{Value, json};
use std::fs;
use support::plugged::Plugged;
use support::qemu::{MUSICPAL_BYTES, QemuFlash, VirtFlash};
use support::rig::Rig;
use virtual_time::Scenario;

/// Identifies `flash` with the sheet of `rig`; the report, and every write that reached the flash.
///
/// The backing file must be what it was before.
fn identified(rig: &Rig, flash: QemuFlash) -> (Value, Vec<(u32, Word)>) {
    let (socket, witness) = Plugged::new(flash);
    let folder = rig.at("shelf");
    let mut scenario = Scenario::of(rig.bench("bench two"), &folder);
    scenario.wanted = Wanted {
        sheet: Some(rig.text_at("sheet.toml")),
        specimen: Some(rig.label()),
        ..Wanted::default()
    };
    scenario.job = Job::Identify(IdentifyOptions::default());
    let mut port = scenario.port_with(Box::new(socket));
    let run = scenario.run_on(&mut port, |_, _| ());
    let report = run.outcome.report.clone().unwrap_or_else(|| panic!("{}", run.words()));
    let books = port.bench().adapter().books();
    assert_eq!(books.violation_count, 0, "{:?}", books.violations);
    drop(port);
    assert!(rig.image.contents() == rig.before, "identifying changed the backing file");
    let seen = witness.seen();
    assert_eq!(seen.unpowered, 0, "{seen:?}");
    (report["spaces"][0].clone(), seen.written)
}

/// Every write went to one of `addresses` with one of `codes` in every lane.
fn only_commands(written: &[(u32, Word)], addresses: &[u32], codes: &[Word]) {
    for (at, word) in written {
        assert!(addresses.contains(at) && codes.contains(word), "{word:X} at {at:X}");
    }
}

const AMD_CODES: &[Word] = &[0xAA, 0x55, 0x90, 0x98, 0xF0];

#[test]
fn two_parts_of_the_intel_family() {
    let Some(rig) = Rig::wide(0) else { return };
    let (space, written) = identified(&rig, QemuFlash::virt(rig.image.path(), VirtFlash::First));
    let chips = space["chips"].as_array().unwrap();
    assert_eq!(chips.len(), 2);
    for chip in chips {
        assert_eq!(chip["raw_ids"][0], json!("0x89"), "{chip}");
        assert_eq!(chip["raw_ids"][1], json!("0x18"), "{chip}");
        assert_eq!(chip["family"], json!("intel"), "{chip}");
        // 64 MiB on two lanes.
        assert_eq!(chip["bytes"], json!(32 << 20), "{chip}");
        assert!(chip["geometry"].as_str().unwrap().contains("256 x 128K"), "{chip}");
        assert!(chip["query"].as_str().unwrap().starts_with("51 52 59 01 00"), "{chip}");
        // A real part with this id has half of it: the two are not silently reconciled.
        let doubt = "the chip's query table says 32M as 256 x 128K, the part list says 16M";
        assert!(chip["geometry"].as_str().unwrap().contains(doubt), "{chip}");
        assert_eq!(chip["locks"], json!("not read: the sectors are not certain"), "{chip}");
    }
    // The table says 4.5 to 5.5 V, and the sheet gives the module 3.3 V.
    let warnings = space["warnings"].as_array().unwrap();
    assert!(warnings[0].as_str().unwrap().contains("is made for 4500 mV to 5500 mV"), "{space}");
    let codes = [0x90, 0x98, 0xFF].map(|code: Word| code | code << 16);
    only_commands(&written, &[0], &codes);
    assert!(!written.is_empty());
}

#[test]
fn one_part_of_the_amd_family() {
    let Some(rig) = Rig::narrow(0) else { return };
    let (space, written) = identified(&rig, QemuFlash::musicpal(rig.image.path()));
    let chip = &space["chips"][0];
    assert_eq!(chip["device"], json!(["0x236D"]), "{space}");
    assert_eq!(chip["family"], json!("amd"), "{space}");
    assert_eq!(chip["bytes"], json!(MUSICPAL_BYTES), "{space}");
    assert!(chip["geometry"].as_str().unwrap().contains("128 x 64K"), "{space}");
    only_commands(&written, &[0, 0x55, 0x2AA, 0x555], AMD_CODES);
}

#[test]
fn boot_sectors_of_the_amd_family() {
    let Some(rig) = Rig::narrow(0) else { return };
    let layouts: [(&[(u32, u32)], &str); 3] = [
        (&[(8, 8 << 10), (127, 64 << 10)], "8 x 8K, 127 x 64K"),
        (
            &[(1, 16 << 10), (2, 8 << 10), (1, 32 << 10), (127, 64 << 10)],
            "1 x 16K, 2 x 8K, 1 x 32K, 127 x 64K",
        ),
        (&[(127, 64 << 10), (8, 8 << 10)], "127 x 64K, 8 x 8K"),
    ];
    for (sectors, listed) in layouts {
        let flash = QemuFlash::musicpal_with_sectors(rig.image.path(), sectors);
        let (space, written) = identified(&rig, flash);
        let chip = &space["chips"][0];
        assert!(chip["geometry"].as_str().unwrap().contains(listed), "{listed}: {space}");
        assert_eq!(chip["bytes"], json!(MUSICPAL_BYTES), "{space}");
        only_commands(&written, &[0, 0x55, 0x2AA, 0x555], AMD_CODES);
    }
}

/// Without a family in the sheet the module is captured first, and its own ids lead on.
#[test]
fn a_family_that_nobody_named() {
    let Some(rig) = Rig::narrow(0) else { return };
    let sheet = rig.at("sheet.toml");
    let text = fs::read_to_string(&sheet).unwrap().replace("family = \"amd\"\n", "");
    // The first MiB is enough to capture.
    let text = text.replace("words = 0x400000", "words = 0x80000");
    fs::write(&sheet, text).unwrap();
    let (space, written) = identified(&rig, QemuFlash::musicpal(rig.image.path()));
    let chip = &space["chips"][0];
    assert_eq!(chip["device"], json!(["0x236D"]), "{space}");
    // Two page-write parts of 8 lines might stand there, so both halves of the lane get the codes.
    let both = AMD_CODES.iter().map(|code| code | code << 8);
    let codes: Vec<_> = AMD_CODES.iter().copied().chain(both).collect();
    only_commands(&written, &[0, 0x55, 0x2AA, 0x555, 0x2AAA, 0x5555], &codes);
    assert_eq!(written[0], (0x5555, 0xAAAA), "that sequence goes before any other");
}
