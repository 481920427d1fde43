//! Page-write parts planned for and written, on adapters that are quick enough and on others.

use crate::rig::{Rig, report, runs};
use buswright::app::{Job, SimPort, WriteOptions};
use buswright::sim::Bench;

/// Words of a page of four chips, and bytes.
const PAGE: usize = 0x100;

/// Four chips of 5 V.
fn four() -> Rig {
    let rail = "[adapter]\nrails_mv = [5000]\nio_high_mv = 5000\n";
    let rig = Rig::made("AT29C040A", 8, (32, 0x8_0000), "page", (rail, ""));
    rig.edit_sheet("rail_mv = 3300", "rail_mv = 5000");
    rig
}

/// The same module on an adapter that promises nothing.
fn slow(rig: &mut Rig) {
    let contents = rig.contents("store");
    rig.description.adapter.promises = false;
    rig.port = SimPort::new(Bench::new(&rig.description, 1));
    rig.set("store", &contents);
}

fn writes(rig: &Rig) -> u64 {
    let chips = rig.port.bench().adapter().socket().chips("store");
    chips.iter().map(|chip| chip.books().writes).sum()
}

/// Contents with a page of others, a part of one, and a page of ones.
fn image(before: &[u8]) -> Vec<u8> {
    let mut image = before.to_vec();
    image[PAGE * 4..PAGE * 10].iter_mut().for_each(|byte| *byte = !*byte ^ 0x10);
    image[PAGE * 16..PAGE * 20].fill(0xFF);
    image
}

#[test]
fn pages_are_written_as_planned() {
    let mut rig = four();
    let before: Vec<u8> = (0..0x20_0000_u32).map(|n| (n * 7 + n / 251) as u8).collect();
    rig.set("store", &before);
    let image = image(&before);
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let expected = ["0-0 keep", "1-2 erase", "3-3 keep", "4-4 erase", "5-2047 keep"];
    assert_eq!(runs(&run), expected, "{}", run.words());
    let code = report(&run)["code"].as_str().unwrap().to_owned();
    let write = WriteOptions::Plan { code, confirm: "MADE #1".into() };
    let run = rig.job(Job::Write(write));
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    assert!(rig.contents("store") == image);
    for chip in rig.port.bench().adapter().socket().chips("store") {
        let books = chip.books();
        assert_eq!(books.violation_count, 0, "{:?}", books.violations);
        assert_eq!(books.erases.iter().sum::<u32>(), 3);
    }
}

#[test]
fn nothing_is_planned_and_nothing_is_written_without_a_promise() {
    let mut rig = four();
    let before = rig.contents("store");
    let image = image(&before);
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 0, "{}", run.words());
    let code = report(&run)["code"].as_str().unwrap().to_owned();
    slow(&mut rig);
    let run = rig.plan(&image);
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    let said = "store cannot be written here: no command was sent: a page-write part";
    assert!(run.outcome.text.contains(said), "{}", run.words());
    let write = WriteOptions::Plan { code, confirm: "MADE #1".into() };
    let run = rig.job(Job::Write(write));
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    assert!(run.outcome.text.contains(said), "{}", run.words());
    assert_eq!(writes(&rig), 0);
    rig.assert_unharmed(&before);
}
