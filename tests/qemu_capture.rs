//! Real firmware through the whole chain: QEMU's flash models hold it, the simulated adapter reads
//! it, the program makes a copy worth keeping of it.
//!
//! The firmware is that of the Debian package u-boot-qemu; the flash models are parts that this
//! project did not write.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

mod support;
#[path = "support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{BlockState, CaptureOptions, Event, Job, Wanted};
use buswright::bus::Width;
use buswright::sim::Bench;
use std::fs;
use support::firmware::RANGE;
use support::plugged::Plugged;
use support::qemu::{MUSICPAL_BYTES, QemuFlash, VIRT_BYTES, VirtFlash};
use support::rig::Rig;
use support::served::Served;
use virtual_time::Scenario;

#[test]
fn the_intel_family_through_a_serial_device() {
    let Some(rig) = Rig::wide(0x123_0000) else { return };
    let (socket, witness) = Plugged::new(QemuFlash::virt(rig.image.path(), VirtFlash::First));
    let bench = rig.fast_bench("bench two");
    let served = Served::pty(Bench::with_socket(&bench, Box::new(socket), 1));
    assert!(served.port.starts_with("/dev/"), "{}", served.port);
    let (sheet, range) = (rig.text_at("sheet.toml"), rig.range());
    let where_to = ["--space", "store", "--range", &range];
    let capture = [&["capture", "--sheet", &sheet], &where_to[..]].concat();
    let ran = rig.run(&served.port, &capture);
    ran.assert_says(0, &["0001-001: 1 MiB of EF-32 #0001 agreed", "SHA-256"]);
    assert!(!ran.out.contains("unsteady"), "{}", ran.out);
    let sha256 = ran.out.split("SHA-256 ").nth(1).and_then(|rest| rest.lines().next()).unwrap();
    rig.check_copy(sha256, false);
    rig.check_cycles(&witness, false);
    // From here on rate and sheet are remembered for this port.
    let known = fs::read_to_string(rig.at("data/buswright/known.toml")).unwrap();
    assert!(known.contains(&served.port) && known.contains("1000000"), "{known}");
    let (good, changed) = (rig.text_at("good.bin"), rig.text_at("changed.bin"));
    rig.run(&served.port, &["shelf", "export", "@last", &good]).assert_says(0, &[]);
    let mut copy = fs::read(&good).unwrap();
    assert!(copy == rig.image.range, "the exported file differs from the firmware");
    let verify = |file: &str| rig.run(&served.port, &[&["verify", file], &where_to[..]].concat());
    verify(&good).assert_says(0, &["the module equals"]);
    copy[0x1234 * 4 + 2] ^= 0x10;
    fs::write(&changed, &copy).unwrap();
    let (image, module) = (word(&copy), word(&rig.image.range));
    let address = rig.first() + 0x1234;
    let named = format!("store word 0x{address:X}: image 0x{image:08X}, module 0x{module:08X}");
    verify(&changed).assert_says(1, &["in 1 word of 1 MiB", &named]);
    // Without its range the file is no copy of the space, and nothing is read for it.
    let reads = witness.seen().reads;
    let ran = rig.run(&served.port, &["verify", &good, "--space", "store"]);
    assert_eq!(ran.code, Some(2), "{}{}", ran.out, ran.err);
    assert!(ran.err.contains("--range"), "{}", ran.err);
    served.end();
    let seen = witness.seen();
    assert_eq!((seen.reads, seen.writes, seen.unpowered), (reads, 0, 0), "{seen:?}");
    assert!(rig.image.contents() == rig.before, "verifying changed the backing file");
}

/// The word at 0x1234 of a copy with words of 32 bits.
fn word(copy: &[u8]) -> u32 {
    Width::W32.words(copy).nth(0x1234).unwrap()
}

#[test]
fn the_amd_family_through_tcp() {
    let Some(rig) = Rig::narrow(0x30_0000) else { return };
    let (socket, witness) = Plugged::new(QemuFlash::musicpal(rig.image.path()));
    let bench = rig.fast_bench("bench:EF-16");
    let served = Served::tcp(Bench::with_socket(&bench, Box::new(socket), 1));
    assert!(served.port.starts_with("tcp:127.0.0.1:"), "{}", served.port);
    let (sheet, range) = (rig.text_at("sheet.toml"), rig.range());
    let capture = ["capture", "--json", "--quiet", "--sheet", &sheet, "--range", &range];
    let ran = rig.run(&served.port, &capture);
    ran.assert_says(0, &[]);
    let last: serde_json::Value = serde_json::from_str(ran.out.trim()).unwrap();
    assert_eq!((&last["event"], &last["code"]), (&"finished".into(), &0.into()), "{last}");
    assert!(last["text"].as_str().unwrap().contains("agreed"), "{last}");
    let report = &last["report"];
    assert_eq!((&report["words_unsteady"], &report["blocks_unsettled"]), (&0.into(), &0.into()));
    // Whoever serves an emulation under the name of a bench has a simulated copy.
    rig.check_copy(report["sha256"].as_str().unwrap(), true);
    rig.check_cycles(&witness, false);
    // The next connection finds the adapter as the first has left it.
    let verified = rig.run(&served.port, &["verify", "@last", "--sheet", &sheet]);
    verified.assert_says(0, &["the module equals"]);
    let refused = rig.run(&served.port, &["verify", "@last", "--sheet", &sheet, "--range", &range]);
    assert_eq!(refused.code, Some(2), "{}{}", refused.out, refused.err);
    assert!(
        refused.err.contains("--range says") && refused.err.contains("leave it out"),
        "{}",
        refused.err
    );
    served.end();
    let seen = witness.seen();
    assert_eq!((seen.power_ups, seen.writes, seen.unpowered), (2, 0, 0), "{seen:?}");
    assert!(rig.image.contents() == rig.before, "verifying changed the backing file");
}

#[test]
fn the_intel_family_in_simulated_time() {
    // The last words of the flash, so that the highest address line is needed.
    let Some(rig) = Rig::wide(VIRT_BYTES - RANGE) else { return };
    captured_in_simulated_time(&rig, QemuFlash::virt(rig.image.path(), VirtFlash::Second));
}

#[test]
fn the_amd_family_in_simulated_time() {
    let Some(rig) = Rig::narrow(MUSICPAL_BYTES - RANGE) else { return };
    captured_in_simulated_time(&rig, QemuFlash::musicpal(rig.image.path()));
}

#[test]
fn boot_sectors_in_simulated_time() {
    let Some(rig) = Rig::narrow(0) else { return };
    let sectors = [(8, 8 << 10), (127, 64 << 10)];
    let flash = QemuFlash::musicpal_with_sectors(rig.image.path(), &sectors);
    captured_in_simulated_time(&rig, flash);
}

/// Captures the range in simulated time and compares the module with the copy.
fn captured_in_simulated_time(rig: &Rig, flash: QemuFlash) {
    let (socket, witness) = Plugged::new(flash);
    let folder = rig.at("shelf");
    let mut scenario = Scenario::of(rig.bench("bench two"), &folder);
    scenario.wanted = Wanted {
        sheet: Some(rig.text_at("sheet.toml")),
        specimen: Some(rig.label()),
        ..Wanted::default()
    };
    let (space, range) = (Some("store".into()), Some(rig.range()));
    scenario.job = Job::Capture(CaptureOptions { space, range, ..CaptureOptions::default() });
    let mut port = scenario.port_with(Box::new(socket));
    let run = scenario.run_on(&mut port, |_, _| ());
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert!(run.outcome.text.contains("agreed"), "{}", run.outcome.text);
    let report = run.outcome.report.as_ref().unwrap();
    assert_eq!((&report["words_unsteady"], &report["blocks_unsettled"]), (&0.into(), &0.into()));
    let agreed = run.events.iter().map(|(_, event)| match event {
        Event::Block { bytes, state: BlockState::Agreed, .. } => *bytes,
        Event::Block { state, .. } => {
            assert_eq!(*state, BlockState::ReadOnce);
            0
        }
        _ => 0,
    });
    assert_eq!(agreed.sum::<u32>() as usize, RANGE);
    rig.check_copy(report["sha256"].as_str().unwrap(), false);
    rig.check_cycles(&witness, true);
    let books = port.bench().adapter().books();
    let words = u64::from(rig.words());
    assert_eq!((books.words_read, books.words_written), (2 * words, 0));
    assert_eq!(books.violation_count, 0, "{:?}", books.violations);
    // The adapter still has the rate that the capture left.
    scenario.plan.remembered = Some(port.bench().adapter().rate());
    let run = scenario.verify("@last").run_on(&mut port, |_, _| ());
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let books = port.bench().adapter().books();
    assert_eq!((books.words_read, books.words_written), (3 * words, 0));
    drop(port);
    assert!(rig.image.contents() == rig.before, "verifying changed the backing file");
}
