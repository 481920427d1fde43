//! What is stored comes back, and what does not fit is named.

use super::*;
use crate::bus::ByteAddress;

#[test]
fn a_capture_comes_back_as_it_was() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let Finished { id, trouble, .. } = capture(&shelf, &label(), 1, 0).unwrap();
    assert!(trouble.is_none());
    assert_eq!(id.to_string(), "0417-001");
    let start = start(&label());
    assert_eq!(shelf.content(&id).unwrap(), contents(&start, 1));

    let found = shelf.get("0417-001", None).unwrap();
    let mut expected = record(&start, 0);
    expected.id = Some(id.clone());
    expected.number = 1;
    expected.sha256 = sha256_hex(&contents(&start, 1));
    let store = start.parts[0].bytes() as usize;
    for (space, bytes) in expected
        .spaces
        .iter_mut()
        .zip([&contents(&start, 1)[..store], &contents(&start, 1)[store..]])
    {
        space.sha256 = sha256_hex(bytes);
        let blocks = bytes.chunks(BLOCK_BYTES as usize);
        space.crc32 = blocks.map(|block| format!("{:08x}", crate::bus::crc32(block))).collect();
    }
    assert_eq!(found.record, expected);
    assert_eq!(expected.spaces[0].crc32.len(), 4);
    assert_eq!(found.record.tool_version, env!("CARGO_PKG_VERSION"));
    assert_eq!(found.record.spaces[0].chips[0].lock_map, NOT_LOOKED);
}

#[test]
fn the_record_reads_as_it_should() {
    let disk = MemDisk::default();
    capture(&shelf(&disk), &label(), 1, 0).unwrap();
    let files = disk.below(&format!("{ROOT}/captures/0417-001/record.toml"));
    let text = String::from_utf8(files.into_values().next().unwrap()).unwrap();
    let golden = include_str!("record.toml");
    assert_eq!(text.replace(env!("CARGO_PKG_VERSION"), "VERSION"), golden);
}

#[test]
fn any_sheet_text_comes_back() {
    for sheet in ["", "a\r\nb\rc\n", "'''\"\"\"\\ \t\u{7f}\u{0}é", "\n\nx = 'y'"] {
        let mut start = start(&label());
        start.sheet_sha256 = sha256_hex(sheet.as_bytes());
        let record = Record::new(&start, "TG-7", sheet, time(0));
        let text = toml::to_string_pretty(&record).unwrap();
        assert_eq!(toml::from_str::<Record>(&text).unwrap(), record);
    }
}

#[test]
fn numbers_run_per_serial_and_are_never_used_twice() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let later = Label::parse("TG-7c #0417").unwrap();
    let other = Label::parse("TG-7 #0502").unwrap();
    for (label, id) in
        [(&label(), "0417-001"), (&later, "0417-002"), (&other, "0502-001"), (&label(), "0417-003")]
    {
        assert_eq!(capture(&shelf, label, 1, 0).unwrap().id.to_string(), id);
    }
    // Somebody took the last capture away: its number stays taken.
    let from = Path::new(ROOT).join("captures/0417-003");
    disk.rename(&from, Path::new("/bench/elsewhere")).unwrap();
    assert_eq!(capture(&shelf, &label(), 1, 9).unwrap().id.to_string(), "0417-004");

    let found = |which, label: Option<&Label>| shelf.find(which, label).unwrap().to_string();
    assert_eq!(found("@last", Some(&label())), "0417-004");
    assert_eq!(found("@last", Some(&later)), "0417-002");
    assert_eq!(found("@last", None), "0417-004");
    let error = shelf.find("0417-003", None).unwrap_err().to_string();
    assert!(error.contains("0417-003 is not on the shelf"), "{error}");
    let nobody = Label::parse("TG-7 #1").unwrap();
    let error = shelf.find("@last", Some(&nobody)).unwrap_err().to_string();
    assert!(error.contains("a capture of TG-7 #1 is not on the shelf"), "{error}");
    assert!(matches!(shelf.find("../x-001", None), Err(ShelfError::BadId { .. })));

    let history = shelf.history(&other).unwrap();
    assert_eq!((history.lines.len(), history.damaged), (1, 0));
    assert_eq!(history.lines[0].event, "captured");
    assert_eq!(history.lines[0].bytes, Some(start(&other).total_bytes()));
    assert_eq!(shelf.history(&nobody).unwrap(), History::default());
}

#[test]
fn histories_take_other_events_and_survive_a_torn_line() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    capture(&shelf, &label(), 1, 0).unwrap();
    disk.spoil(&format!("{ROOT}/histories/0417_tg-7.jsonl"), |file| file.extend(b"{\"time\":\"2"));
    let line = HistoryLine {
        time: time(5),
        specimen: label(),
        event: "started".to_owned(),
        capture: None,
        sha256: None,
        image_sha256: None,
        bytes: None,
        simulated: false,
        text: "the recorder came up".to_owned(),
    };
    shelf.remember(&line).unwrap();
    let history = shelf.history(&label()).unwrap();
    assert_eq!((history.lines.len(), history.damaged), (2, 1));
    assert_eq!(history.lines[1], line);
}

#[test]
fn notes_are_added_and_nothing_else_changes() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let id = capture(&shelf, &label(), 1, 0).unwrap().id;
    let before = disk.below(ROOT);
    shelf.note(&id, " runs since Tuesday\nand keeps time ", time(1)).unwrap();
    shelf.note(&id, "second", time(2)).unwrap();
    assert!(matches!(shelf.note(&id, " \n", time(3)), Err(ShelfError::EmptyNote { .. })));
    let missing = "0417-002".parse().unwrap();
    assert!(matches!(shelf.note(&missing, "x", time(3)), Err(ShelfError::NoCapture { .. })));
    let notes = shelf.get("@last", Some(&label())).unwrap().notes;
    let texts: Vec<&str> = notes.iter().map(|note| note.text.as_str()).collect();
    assert_eq!(texts, ["runs since Tuesday\nand keeps time", "second"]);
    assert_eq!(notes[1].time, time(2));
    let after = disk.below(ROOT);
    assert!(before.iter().all(|(path, bytes)| after.get(path) == Some(bytes)));
    assert_eq!(after.len(), before.len() + 1);
}

#[test]
fn a_flipped_bit_is_found_and_its_block_named() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let id = capture(&shelf, &label(), 1, 0).unwrap().id;
    capture(&shelf, &label(), 2, 1).unwrap();
    assert!(shelf.check(None).unwrap().iter().all(CheckReport::good));
    disk.spoil(&format!("{ROOT}/captures/0417-001/content.bin"), |file| file[0x2_1234] ^= 4);

    let reports = shelf.check(None).unwrap();
    assert!(!reports[0].good() && reports[1].good());
    assert_eq!(shelf.check(Some(&id)).unwrap(), reports[..1]);
    let [Fault::Block { space, block, at, bytes, .. }, Fault::Space { .. }, Fault::Whole { .. }] =
        &reports[0].faults[..]
    else {
        panic!("{:?}", reports[0].faults)
    };
    assert_eq!((space.as_str(), *block), ("store", 2));
    assert_eq!((*at, *bytes), (ByteAddress(0x2_0000), 0x1_0000));
    let error = shelf.content(&id).unwrap_err().to_string();
    assert!(error.contains("store, block 2: the 65536 bytes from byte 0x20000"), "{error}");
    assert!(error.contains("(and 2 more)"), "{error}");
}

#[test]
fn a_short_content_and_a_changed_record_are_named() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let id = capture(&shelf, &label(), 1, 0).unwrap().id;
    let faults = || shelf.check(Some(&id)).unwrap().remove(0).faults;
    let content = format!("{ROOT}/captures/0417-001/content.bin");
    let last = disk.below(&content).into_values().next().unwrap().pop().unwrap();
    disk.spoil(&content, |file| file.truncate(file.len() - 1));
    let found = faults();
    assert!(matches!(found[0], Fault::Length { .. }), "{found:?}");
    assert!(matches!(&found[1], Fault::Block { space, block: 0, .. } if space == "records"));
    disk.spoil(&content, |file| file.push(last));
    assert_eq!(faults(), []);

    let edit = |from: &str, to: &str| {
        disk.spoil(&format!("{ROOT}/captures/0417-001/record.toml"), |file| {
            let text = String::from_utf8(std::mem::take(file)).unwrap();
            assert!(text.contains(from), "{from}");
            *file = text.replace(from, to).into_bytes();
        });
    };
    edit("format = 1\nname", "format = 2\nname");
    assert!(matches!(&faults()[..], [Fault::Record { why }] if why.contains("sheet's text")));
    edit("format = 2\nname", "format = 1\nname");
    for (from, to) in
        [("block_bytes = 65536", "block_bytes = 0"), ("words = 49168", "words = 4294967295")]
    {
        edit(from, to);
        assert!(faults().iter().any(|fault| matches!(fault, Fault::Record { .. })), "{to}");
        edit(to, from);
    }
    edit("offset = 196672", "offset = 9223372036854775807");
    assert!(matches!(&faults()[0], Fault::Block { space, .. } if space == "records"));
    edit("number = 1\n", "number = \"one\"\n");
    assert!(matches!(&faults()[..], [Fault::Unreadable { why }] if why.contains("line 3: ")));
    assert_eq!(shelf.list().unwrap().captures.len(), 1);
}

#[test]
fn records_of_other_versions_and_strange_folders_do_not_stop_the_list() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    for seed in 1..=3 {
        capture(&shelf, &label(), seed, 0).unwrap();
    }
    disk.spoil(&format!("{ROOT}/captures/0417-001/record.toml"), |file| {
        let text = String::from_utf8(file.clone()).unwrap();
        let newer = text
            .replace("format = 1\nid", "format = 9\nmoon = \"full\"\nid")
            .replace("[link]", "[link]\nphase = 3");
        *file = newer.replace("[adapter]", "[tide]\nheight = 1.5\n\n[adapter]").into_bytes();
    });
    disk.spoil(&format!("{ROOT}/captures/0417-002/record.toml"), |file| {
        file.splice(0..0, *b"??");
    });
    disk.create_dir_all(&Path::new(ROOT).join("captures/lost+found")).unwrap();
    let listing = shelf.list().unwrap();
    let ids: Vec<String> = listing.captures.iter().map(|found| found.id.to_string()).collect();
    assert_eq!(ids, ["0417-001", "0417-003"]);
    assert_eq!(shelf.get("0417-001", None).unwrap().record.format, 9);
    let trouble = listing.troubles[0].to_string();
    assert!(trouble.contains("0417-002/record.toml: this record cannot be read: line 1: "));
    // The latest is known, unless it is the one that cannot be read.
    assert_eq!(shelf.find("@last", Some(&label())).unwrap().to_string(), "0417-003");
    let taken = Path::new(ROOT).join("captures/0417-003");
    disk.rename(&taken, Path::new("/bench/elsewhere")).unwrap();
    let last = shelf.find("@last", Some(&label()));
    assert!(matches!(last, Err(ShelfError::LastUnknown { .. })), "{last:?}");
}

#[test]
fn an_export_never_replaces_other_contents() {
    let disk = MemDisk::default();
    let shelf = shelf(&disk);
    let id = capture(&shelf, &label(), 1, 0).unwrap().id;
    let dest = Path::new("/bench/copy.bin");
    assert_eq!(shelf.export(&id, dest).unwrap(), Exported::Written);
    assert_eq!(disk.read(dest).unwrap(), shelf.content(&id).unwrap());
    assert_eq!(shelf.export(&id, dest).unwrap(), Exported::AlreadyThere);
    disk.spoil("/bench/copy.bin", |file| file[7] ^= 1);
    let spoiled = disk.read(dest).unwrap();
    let error = shelf.export(&id, dest).unwrap_err();
    assert!(matches!(error, ShelfError::WouldReplace { at: ByteAddress(7), .. }), "{error}");
    assert_eq!(disk.read(dest).unwrap(), spoiled);
    disk.spoil(&format!("{ROOT}/captures/0417-001/content.bin"), |file| file[0] ^= 1);
    let other = Path::new("/bench/other.bin");
    assert!(matches!(shelf.export(&id, other), Err(ShelfError::Damaged { .. })));
    assert!(!disk.exists(other).unwrap());
}
