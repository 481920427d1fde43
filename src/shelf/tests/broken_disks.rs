//! Full and read-only disks.

use super::*;

#[test]
fn a_full_disk_loses_nothing_and_goes_on_with_room() {
    // Room for some of the blocks, a different amount each time; the last ones do for all.
    let mut finished_at_once = 0;
    for room in (0..0x3_4000).step_by(0x7FF).chain([0x10_0000]) {
        let disk = MemDisk::default();
        capture(&shelf(&disk), &label(), 1, 0).unwrap();
        let before = disk.below(&format!("{ROOT}/captures"));
        let shelf = shelf(&disk);
        disk.room(Some(room));
        match capture(&shelf, &label(), 2, 1) {
            Err(error) => {
                let message = error.to_string();
                assert!(matches!(error, ShelfError::Disk { .. }), "{message}");
                assert!(message.contains("make room there"), "{message}");
                assert_eq!(disk.below(&format!("{ROOT}/captures")), before);
                assert_eq!(scratch_files(&disk), 0, "room {room}");
                disk.room(None);
                // The same process would end here; its lock goes with it.
                let id = capture(&shelf, &label(), 2, 1).unwrap().id;
                assert_eq!(id.to_string(), "0417-002");
            }
            Ok(finished) => {
                finished_at_once += u32::from(finished.trouble.is_none());
                disk.room(None);
            }
        }
        assert!(shelf.check(None).unwrap().iter().all(CheckReport::good), "room {room}");
        assert_eq!(shelf.list().unwrap().captures.len(), 2);
        assert_eq!(shelf.history(&label()).unwrap().lines.len(), 2);
    }
    assert!(finished_at_once >= 1);
}

fn scratch_files(disk: &MemDisk) -> usize {
    let all = disk.below("/");
    all.keys().filter(|path| path.to_str().unwrap().ends_with("buswright-part")).count()
}

#[test]
fn an_export_that_finds_no_room_leaves_nothing_behind() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let id = capture(&shelf, &label(), 1, 0).unwrap().id;
    for room in [0, 0x1_0000] {
        disk.room(Some(room));
        let error = shelf.export(&id, Path::new("/bench/copy.bin")).unwrap_err().to_string();
        assert!(error.contains("make room there"), "{error}");
        assert_eq!(scratch_files(&disk), 0);
    }
    disk.room(None);
    shelf.export(&id, Path::new("/bench/copy.bin")).unwrap();
    assert_eq!(scratch_files(&disk), 0);
}

#[test]
fn a_failed_block_can_be_stored_again_by_the_same_process() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let start = start(&label());
    let contents = contents(&start, 1);
    let mut unfinished = shelf.begin_or_resume(&start).unwrap();
    disk.room(Some(0x1_0040));
    assert!(fill(&mut unfinished, &contents).is_err());
    disk.room(None);
    fill(&mut unfinished, &contents).unwrap();
    drop(unfinished);
    let again = shelf.begin_or_resume(&start).unwrap();
    assert_eq!(again.blocks_done().len(), 5);
}

#[test]
fn a_read_only_shelf_can_be_read() {
    let disk = MemDisk::default();
    let id = capture(&shelf(&disk), &label(), 1, 0).unwrap().id;
    disk.read_only(true);
    let shelf = shelf(&disk);
    assert_eq!(shelf.list().unwrap().captures.len(), 1);
    assert_eq!(shelf.content(&id).unwrap(), contents(&start(&label()), 1));
    assert!(shelf.check(None).unwrap()[0].good());
    assert_eq!(shelf.history(&label()).unwrap().lines.len(), 1);
    for error in [
        capture(&shelf, &label(), 2, 0).unwrap_err(),
        shelf.note(&id, "x", time(0)).unwrap_err(),
        shelf.export(&id, Path::new("/bench/copy.bin")).unwrap_err(),
    ] {
        let message = error.to_string();
        assert!(message.contains("this disk is read-only"), "{message}");
        assert!(message.starts_with("/bench/"), "{message}");
    }
}

#[test]
fn an_absent_shelf_is_an_empty_one() {
    let disk = MemDisk::default();
    let listing = shelf(&disk).list().unwrap();
    assert!(listing.captures.is_empty() && listing.troubles.is_empty());
    assert!(disk.below("/").is_empty());
}
