//! Going on with an interrupted capture.

use super::*;

const FOLDER: &str = "/bench/shelf/unfinished/0417_tg-7";

/// A capture interrupted with blocks 0 and 2 stored.
fn interrupted(shelf: &Shelf) -> Vec<u8> {
    let start = start(&label());
    let contents = contents(&start, 1);
    let mut unfinished = shelf.begin_or_resume(&start).unwrap();
    for block in [unfinished.blocks()[2], unfinished.blocks()[0]] {
        let from = block.offset as usize;
        let bytes = &contents[from..from + block.bytes as usize];
        let crc = crate::bus::crc32(bytes);
        unfinished.put_block(block.index, block.offset, bytes, crc).unwrap();
    }
    contents
}

fn done(unfinished: &Unfinished) -> Vec<u32> {
    unfinished.blocks_done().keys().copied().collect()
}

#[test]
fn it_goes_on_where_it_was() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let contents = interrupted(&shelf);
    let pending = Pending {
        folder: FOLDER.into(),
        start: start(&label()),
        blocks_done: 2,
        blocks: 5,
        set_aside: false,
    };
    assert_eq!(shelf.list().unwrap().pending, [pending]);
    drop(shelf.begin_or_resume(&start(&label())).unwrap());
    let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!((done(&again), again.resumed()), (vec![0, 2], 2));
    assert_eq!(again.read_back(2).unwrap().unwrap(), &contents[0x2_0000..0x3_0000]);
    assert_eq!(again.read_back(1).unwrap(), None);
    assert_eq!(again.read_back(99).unwrap(), None);
    fill(&mut again, &contents).unwrap();
    let id = again.finish(record(&start(&label()), 0)).unwrap().id;
    assert_eq!(shelf.get(&id.to_string(), None).unwrap().record.resumed, 2);
    assert!(shelf.list().unwrap().pending.is_empty());
}

#[test]
fn a_block_read_again_counts_as_it_was_last() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    interrupted(&shelf);
    let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
    let other = vec![0x5A; 0x1_0000];
    again.put_block(2, 0x2_0000, &other, crate::bus::crc32(&other)).unwrap();
    drop(again);
    let again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!(again.read_back(2).unwrap().unwrap(), other);
}

#[test]
fn torn_and_damaged_progress_costs_only_its_own_block() {
    for cut in 1..30 {
        let disk = MemDisk::default();
        let shelf = shelf(&disk);
        let contents = interrupted(&shelf);
        disk.spoil(&format!("{FOLDER}/progress.log"), |log| log.truncate(log.len() - cut));
        let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
        let expected = if cut == 1 { vec![0, 2] } else { vec![2] };
        assert_eq!(done(&again)[..], expected, "{cut} bytes cut");
        // The line after the torn one is whole.
        fill(&mut again, &contents).unwrap();
        drop(again);
        let again = shelf.begin_or_resume(&start(&label())).unwrap();
        assert_eq!(done(&again), [0, 1, 2, 3, 4]);
        again.finish(record(&start(&label()), 0)).unwrap();
    }
}

#[test]
fn a_block_that_the_disk_changed_does_not_count() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    interrupted(&shelf);
    disk.spoil(&format!("{FOLDER}/content.bin"), |content| content[0x2_0005] ^= 1);
    let again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!(done(&again), [0]);
    disk.spoil(&format!("{FOLDER}/content.bin"), |content| content[5] ^= 1);
    let error = again.read_back(0).unwrap_err().to_string();
    assert!(error.contains("block 0 (bytes 0x0+0x10000) was stored with checksum"), "{error}");
}

#[test]
fn one_that_differs_is_set_aside_and_kept() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    interrupted(&shelf);
    let before = disk.below(FOLDER);
    let mut other = start(&label());
    other.parts.pop();
    other.sheet_sha256 = "another".to_owned();
    other.simulated = false;
    let begun = shelf.begin_or_resume(&other).unwrap();
    assert!(begun.blocks_done().is_empty());
    let aside = begun.set_aside().unwrap().clone();
    assert_eq!(aside.path, Path::new("/bench/shelf/set-aside/0417_tg-7.1"));
    assert_eq!(aside.differences.len(), 3);
    let sentence = aside.to_string();
    for part in [
        "another text of the module sheet",
        "taken from the simulated bench",
        "store 0x0+0xC010 of 32 bits, records 0x0+0x20 of 16 bits",
    ] {
        assert!(sentence.contains(part), "{sentence}");
    }
    drop(begun);
    let after = disk.below("/bench/shelf/set-aside/0417_tg-7.1");
    assert!(before.values().eq(after.values()));
    let again = shelf.begin_or_resume(&start(&label())).unwrap();
    let second = again.set_aside().unwrap();
    assert_eq!(second.path, Path::new("/bench/shelf/set-aside/0417_tg-7.2"));
    drop(again);

    disk.spoil(&format!("{FOLDER}/start.toml"), |text| text.truncate(20));
    let again = shelf.begin_or_resume(&start(&label())).unwrap();
    let why = &again.set_aside().unwrap().differences[0];
    assert!(why.contains("its start.toml cannot be read"), "{why}");
}

#[test]
fn two_processes_cannot_work_on_the_same_one_but_two_modules_can() {
    let disk = MemDisk::default();
    let (one, two) = (shelf(&disk), shelf(&disk));
    let first = one.begin_or_resume(&start(&label())).unwrap();
    let Err(busy) = two.begin_or_resume(&start(&label())) else { panic!("both have it") };
    let message = busy.to_string();
    assert!(matches!(busy, ShelfError::Busy { .. }) && message.contains(FOLDER), "{message}");
    let other = Label::parse("TG-7 #0502").unwrap();
    assert_eq!(capture(&two, &other, 3, 0).unwrap().id.to_string(), "0502-001");
    drop(first);
    assert_eq!(capture(&two, &label(), 1, 0).unwrap().id.to_string(), "0417-001");
}

#[test]
fn what_does_not_fit_is_refused_and_stores_nothing() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    interrupted(&shelf);
    let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
    let before = disk.below(ROOT);
    let bytes = vec![0; 0x1_0000];
    let crc = crate::bus::crc32(&bytes);
    for (index, offset, length, crc) in [
        (9, 0, 0x1_0000, crc),
        (1, 0, 0x1_0000, crc),
        (1, 0x1_0000, 4, crc),
        (1, 0x1_0000, 0x1_0000, 1),
    ] {
        let error = again.put_block(index, offset, &bytes[..length], crc).unwrap_err();
        assert!(matches!(error, ShelfError::Misfit { .. }), "{error}");
    }
    assert_eq!(disk.below(ROOT), before);
    assert_eq!(done(&again), [0, 2]);
    let error = again.finish(record(&start(&label()), 0)).unwrap_err().to_string();
    assert!(error.contains("3 of 5 blocks are missing, block 1 the first"), "{error}");

    let start = start(&label());
    let misfit = |change: fn(&mut Record), what: &str| {
        let again = shelf.begin_or_resume(&start).unwrap();
        let mut record = record(&start, 0);
        change(&mut record);
        let error = again.finish(record).unwrap_err().to_string();
        assert!(error.contains(what), "{error}");
    };
    misfit(|record| record.simulated = false, "another origin");
    misfit(|record| record.sheet.text.push(' '), "another module sheet");
    misfit(|record| record.spaces[0].words -= 1, "another list of spaces");
    misfit(|record| record.specimen = Label::parse("A #1").unwrap(), "another specimen");
}

#[test]
fn a_record_written_just_before_the_end_can_be_used() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let start = start(&label());
    let mut unfinished = shelf.begin_or_resume(&start).unwrap();
    fill(&mut unfinished, &contents(&start, 1)).unwrap();
    // Killed a little later each time, until it is between record and shelf.
    let mut k = 1;
    while unfinished.recorded().is_none() {
        disk.fail_at(k, Tear::Nothing);
        assert!(unfinished.finish(record(&start, 7)).is_err(), "the record was never there");
        disk.restart(false);
        unfinished = shelf.begin_or_resume(&start).unwrap();
        k += 1;
    }
    let recorded = unfinished.recorded().unwrap().clone();
    assert_eq!(recorded.time, time(7));
    let id = unfinished.finish(recorded).unwrap().id;
    assert_eq!(shelf.get(&id.to_string(), None).unwrap().record.time, time(7));
}

#[test]
fn one_that_was_set_aside_is_listed_and_taken_back_by_what_fits_it() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let contents = interrupted(&shelf);
    let mut short = start(&label());
    short.parts = vec![Part { words: 0x10, ..short.parts[0].clone() }];
    drop(shelf.begin_or_resume(&short).unwrap());
    let listed = |shelf: &Shelf| {
        let pending = shelf.list().unwrap().pending;
        pending.iter().map(|one| (one.set_aside, one.blocks_done, one.blocks)).collect::<Vec<_>>()
    };
    assert_eq!(listed(&shelf), [(false, 0, 1), (true, 2, 5)]);
    // The short one changes places with it.
    let again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!((done(&again), again.taken_back()), (vec![0, 2], true));
    assert!(again.set_aside().is_some());
    drop(again);
    assert_eq!(listed(&shelf), [(false, 2, 5), (true, 0, 1)]);
    // The short one comes to its end, the long one goes on afterwards.
    let mut again = shelf.begin_or_resume(&short).unwrap();
    assert!(again.taken_back());
    fill(&mut again, &contents[..0x40]).unwrap();
    again.finish(Record::new(&short, "TG-7", SHEET, time(0))).unwrap();
    assert_eq!(listed(&shelf), [(true, 2, 5)]);
    let mut again = shelf.begin_or_resume(&start(&label())).unwrap();
    assert_eq!((done(&again), again.taken_back()), (vec![0, 2], true));
    fill(&mut again, &contents).unwrap();
    let id = again.finish(record(&start(&label()), 0)).unwrap().id;
    assert_eq!(shelf.content(&id).unwrap(), contents);
    assert!(listed(&shelf).is_empty());
}

#[test]
fn taking_back_loses_nothing_at_any_kill() {
    for power in [false, true] {
        let mut operation = 1;
        loop {
            let disk = MemDisk::default();
            let shelf = shelf(&disk);
            interrupted(&shelf);
            let mut short = start(&label());
            short.parts.pop();
            drop(shelf.begin_or_resume(&short).unwrap());
            disk.fail_at(operation, Tear::Half);
            let killed = shelf.begin_or_resume(&start(&label()));
            drop(killed);
            let failed = disk.restart(power);
            let again = shelf.begin_or_resume(&start(&label())).unwrap();
            assert_eq!(done(&again), [0, 2], "operation {operation}");
            drop(again);
            drop(shelf.begin_or_resume(&short).unwrap());
            if !failed {
                break;
            }
            operation += 1;
        }
        assert!(operation > 10, "only {operation} operations were tried");
    }
}
