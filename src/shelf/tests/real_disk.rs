//! The same on the disk of this machine.

use super::*;

#[test]
fn a_capture_on_the_real_disk() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("deep/shelf");
    let shelf = Shelf::open(Arc::new(OsDisk), &root).unwrap();
    let start = start(&label());
    let contents = contents(&start, 1);
    let mut unfinished = shelf.begin_or_resume(&start).unwrap();
    let block = unfinished.blocks()[3];
    let from = block.offset as usize;
    let bytes = &contents[from..from + block.bytes as usize];
    unfinished.put_block(3, block.offset, bytes, crate::bus::crc32(bytes)).unwrap();
    assert!(matches!(shelf.begin_or_resume(&start), Err(ShelfError::Busy { .. })));
    drop(unfinished);

    let mut again = shelf.begin_or_resume(&start).unwrap();
    assert_eq!(again.blocks_done().len(), 1);
    fill(&mut again, &contents).unwrap();
    let finished = again.finish(record(&start, 0)).unwrap();
    assert!(finished.trouble.is_none());
    assert_eq!(std::fs::read(root.join("captures/0417-001/content.bin")).unwrap(), contents);
    assert_eq!(capture(&shelf, &label(), 2, 1).unwrap().id.to_string(), "0417-002");
    assert!(shelf.check(None).unwrap().iter().all(CheckReport::good));
    shelf.note(&finished.id, "keeps time", time(2)).unwrap();
    assert_eq!(shelf.notes(&finished.id).unwrap().len(), 1);
    let dest = dir.path().join("copy.bin");
    assert_eq!(shelf.export(&finished.id, &dest).unwrap(), Exported::Written);
    assert_eq!(shelf.export(&finished.id, &dest).unwrap(), Exported::AlreadyThere);
}

#[test]
fn the_real_disk_replaces_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    let disk = OsDisk;
    disk.create_new(&path("a"), b"first").unwrap();
    disk.create_new(&path("b"), b"second").unwrap();
    for refused in [
        disk.create_new(&path("a"), b"x"),
        disk.rename(&path("a"), &path("b")),
        disk.write_scratch(&path("a"), b"x"),
        disk.replace(&path("a"), &path("b")),
        disk.write_at(&path("c"), 0, b"x"),
    ] {
        assert!(refused.is_err());
    }
    disk.create_dir_all(&path("full/inside")).unwrap();
    disk.create_dir_all(&path("empty")).unwrap();
    assert!(disk.rename(&path("full"), &path("empty")).is_err());
    assert_eq!(disk.list(dir.path()).unwrap(), ["a", "b", "empty", "full"]);
    assert_eq!(disk.read(&path("a")).unwrap(), b"first");
    assert_eq!(disk.read_at(&path("b"), 4, 9).unwrap(), b"nd");
}

#[test]
fn a_file_in_the_place_of_the_shelf_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("shelf");
    std::fs::write(&root, "no folder").unwrap();
    let Err(error) = Shelf::open(Arc::new(OsDisk), &root) else { panic!("it opened") };
    assert!(error.to_string().contains("could not list this folder"), "{error}");
}
