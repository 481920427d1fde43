//! The process or the power goes at every single disk operation of a capture.

use super::*;

/// Captures once undisturbed, then again with the fault at operation `k`; true if it came.
fn killed_at(k: u64, tear: Tear, power: bool) -> bool {
    let disk = MemDisk::default();
    let older = capture(&shelf(&disk), &label(), 1, 0).unwrap();
    assert!(older.trouble.is_none());
    let before = disk.below(&format!("{ROOT}/captures/0417-001"));
    disk.fail_at(k, tear);
    let heard = Shelf::open(Arc::new(disk.clone()), Path::new(ROOT))
        .and_then(|shelf| capture(&shelf, &label(), 2, 100));
    let came = disk.restart(power);
    let at = format!("operation {k}, {tear:?}, power cut: {power}");
    if let Ok(finished) = &heard {
        assert_eq!(came, finished.trouble.is_some(), "{at}: told as it was");
    }

    let shelf = shelf(&disk);
    assert_eq!(disk.below(&format!("{ROOT}/captures/0417-001")), before, "{at}: older capture");
    let there = shelf.list().unwrap();
    assert!(there.troubles.is_empty(), "{at}: {:?}", there.troubles);
    let was_finished = there.captures.len() == 2;
    if heard.is_ok() && (!power || heard.unwrap().trouble.is_none()) {
        assert!(was_finished, "{at}: what was reported finished is on the shelf");
    }
    assert!(shelf.check(None).unwrap().iter().all(CheckReport::good), "{at}");

    let wanted = contents(&start(&label()), 2);
    let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!(again.set_aside(), None, "{at}");
    assert!(!was_finished || again.blocks_done().is_empty(), "{at}: a new one was begun");
    for block in again.blocks().to_vec() {
        if let Some(bytes) = again.read_back(block.index).unwrap() {
            let from = block.offset as usize;
            assert_eq!(bytes, &wanted[from..from + bytes.len()], "{at}: block {}", block.index);
            let fact = format!("block {} held still", block.index);
            assert!(again.facts().contains(&fact), "{at}: a block that counts has its facts");
        }
    }
    if let Some(recorded) = again.recorded() {
        assert_eq!(recorded.time, time(100), "{at}");
        assert_eq!(again.blocks_done().len(), again.blocks().len(), "{at}");
    }
    fill(&mut again, &wanted).unwrap();
    let finished = again.finish(record(&start(&label()), 200)).unwrap();
    assert!(finished.trouble.is_none(), "{at}");
    assert_eq!(finished.id.number(), if was_finished { 3 } else { 2 }, "{at}");
    assert_eq!(shelf.content(&finished.id).unwrap(), wanted, "{at}");

    // What is finished now outlives a power cut, whatever the killed process left unsettled.
    disk.restart(true);
    assert_eq!(shelf.content(&finished.id).unwrap(), wanted, "{at}");
    assert_eq!(shelf.list().unwrap().captures.len(), finished.id.number() as usize, "{at}");
    assert!(shelf.check(None).unwrap().iter().all(CheckReport::good), "{at}");
    let history = shelf.history(&label()).unwrap();
    let numbers: Vec<u32> =
        history.lines.iter().filter_map(|line| Some(line.capture.as_ref()?.number())).collect();
    let expected: Vec<u32> = (1..=finished.id.number()).collect();
    assert_eq!(numbers, expected, "{at}: one line for each capture");
    came
}

/// The blocks that count outlive a power cut after a kill at operation `k` of the beginning.
fn begun_at(k: u64) -> bool {
    let disk = MemDisk::default();
    let start = start(&label());
    disk.create_dir_all(Path::new(ROOT)).unwrap();
    disk.sync_dir(Path::new("/")).unwrap();
    disk.sync_dir(Path::new("/bench")).unwrap();
    disk.fail_at(k, Tear::All);
    drop(shelf_or_nothing(&disk).and_then(|shelf| shelf.begin_or_resume(&start).ok()));
    let came = disk.restart(false);
    let mut again = shelf(&disk).begin_or_resume(&start).unwrap();
    fill(&mut again, &contents(&start, 1)).unwrap();
    drop(again);
    disk.restart(true);
    let again = shelf(&disk).begin_or_resume(&start).unwrap();
    assert_eq!(again.blocks_done().len(), 5, "operation {k}");
    came
}

fn shelf_or_nothing(disk: &MemDisk) -> Option<Shelf> {
    Shelf::open(Arc::new(disk.clone()), Path::new(ROOT)).ok()
}

#[test]
fn a_beginning_that_was_killed_is_made_good() {
    let last = (1..100).find(|k| !begun_at(*k)).unwrap();
    assert!(last > 15, "only {last} operations were tried");
}

#[test]
fn a_note_that_was_taken_outlives_a_power_cut() {
    for k in 1..12 {
        let disk = MemDisk::default();
        let id = capture(&shelf(&disk), &label(), 1, 0).unwrap().id;
        disk.fail_at(k, Tear::Half);
        let first = shelf_or_nothing(&disk)
            .is_some_and(|shelf| shelf.note(&id, "the first of the notes", time(1)).is_ok());
        disk.restart(false);
        shelf(&disk).note(&id, "second", time(2)).unwrap();
        disk.restart(true);
        let notes = shelf(&disk).notes(&id).unwrap();
        assert_eq!(notes.last().unwrap().text, "second", "operation {k}");
        assert!(!first || notes.len() == 2, "operation {k}");
    }
}

#[test]
fn a_kill_at_any_operation_loses_nothing_that_counted() {
    for power in [false, true] {
        for tear in [Tear::Nothing, Tear::Half, Tear::All] {
            let mut k = 1;
            while killed_at(k, tear, power) {
                k += 1;
            }
            assert!(k > 60, "only {k} operations were tried");
        }
    }
}
