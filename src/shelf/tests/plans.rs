//! Plans: kept under a code of their text, and never believed when they have changed.

use super::*;

fn plan(time: i64, target: &[u8]) -> Plan {
    let sector = |number: u32, action| PlannedSector {
        number,
        first: WordAddress(number * 2),
        words: 2,
        action,
        unlock: action == Action::Erase,
        in_doubt: action == Action::Erase,
        before: 0xDEAD_BEEF,
        after: 7,
        programmed: 2,
        why: if action == Action::Leave { "a reason".into() } else { String::new() },
    };
    Plan {
        format: 1,
        time: super::time(time),
        specimen: label(),
        simulated: false,
        what: "the contents of x.bin into store".into(),
        take: vec!["constants".into()],
        backup: "0417-001".parse().unwrap(),
        way_back: None,
        backup_sha256: "00".into(),
        target_sha256: sha256_hex(target),
        fit: vec!["a sentence".into()],
        left: vec!["store sector 2 stays as it is".into()],
        estimate: Estimate { line_s: 1.5, erase_s: 0.7, program_s: 0.0, total_s: 3.0 },
        image: ImageRecord {
            name: "x.bin".into(),
            sha256: "11".into(),
            capture: None,
            specimen: Some(label()),
        },
        sheet: SheetRecord {
            name: "TG-7".into(),
            sha256: "22".into(),
            text: "name = \"TG-7\"\n".into(),
        },
        chip_files: vec![ChipFile { name: "own.toml".into(), text: "[[chip]]\n".into() }],
        spaces: vec![PlannedSpace {
            name: "store".into(),
            width: Width::W32,
            base: WordAddress(0x100),
            words: 6,
            offset: 0,
            chips: vec![ChipRecord::default()],
            sectors: [Action::Keep, Action::Erase, Action::Leave]
                .into_iter()
                .zip(0..)
                .map(|(action, number)| sector(number, action))
                .collect(),
        }],
    }
}

const TARGET: [u8; 24] = [0x5A; 24];

/// A plan on a shelf, with the path of one of its files.
fn kept(disk: &MemDisk, file: &str) -> (Shelf, PlanCode, String) {
    let shelf = shelf(disk);
    let code = shelf.keep_plan(plan(1, &TARGET), TARGET.to_vec()).unwrap().code;
    let path = format!("{ROOT}/plans/{code}/{file}");
    (shelf, code, path)
}

#[test]
fn a_plan_comes_back_as_it_was() {
    let disk = MemDisk::default();
    let (shelf, code, _) = kept(&disk, "plan.toml");
    let found = shelf.plan(&code).unwrap();
    assert_eq!((&found.plan, &found.target[..]), (&plan(1, &TARGET), &TARGET[..]));
    assert_eq!(found.target_of(&found.plan.spaces[0]), TARGET);
    // The same plan is the same; one of another time is another.
    assert_eq!(shelf.keep_plan(plan(1, &TARGET), TARGET.to_vec()).unwrap().code, code);
    assert_ne!(shelf.keep_plan(plan(2, &TARGET), TARGET.to_vec()).unwrap().code, code);
    assert_eq!(code.to_string().to_lowercase().parse::<PlanCode>().unwrap(), code);
}

#[test]
fn unknown_and_impossible_codes_say_so() {
    let shelf = shelf(&MemDisk::default());
    let said = shelf.plan(&"K7M2QX".parse().unwrap()).unwrap_err();
    assert!(said.is_usage() && said.to_string().contains("K7M2QX is not on the shelf"), "{said}");
    for text in ["", "K7M2Q", "K7M2QXX", "K7M2QI", "../../", "K7M2Q\u{e9}"] {
        let said = text.parse::<PlanCode>().unwrap_err();
        assert!(said.to_string().contains("is no plan code"), "{text}: {said}");
    }
}

#[test]
fn a_plan_that_has_changed_is_refused() {
    for (file, from, to, why) in [
        ("plan.toml", &b"erase"[..], &b"keep "[..], "no longer the one that the code stands for"),
        ("plan.toml", &b"0417-001"[..], &b"0417-002"[..], "no longer the one"),
        ("plan.toml", &b"format"[..], &b"\xFFormat"[..], "no longer the one"),
        ("target.bin", &[0x5A][..], &[0x5B][..], "(target.bin) are not those it aims at"),
    ] {
        let disk = MemDisk::default();
        let (shelf, code, path) = kept(&disk, file);
        disk.spoil(&path, |bytes| {
            let at = bytes.windows(from.len()).position(|window| window == from).unwrap();
            bytes[at..at + from.len()].copy_from_slice(to);
        });
        let said = shelf.plan(&code).unwrap_err();
        assert!(said.is_usage() && said.to_string().contains(why), "{said}");
    }
}

#[test]
fn a_target_shorter_than_its_spaces_is_refused() {
    let shelf = shelf(&MemDisk::default());
    let code = shelf.keep_plan(plan(1, &TARGET[..8]), TARGET[..8].to_vec()).unwrap().code;
    let said = shelf.plan(&code).unwrap_err();
    assert!(said.to_string().contains("shorter than its spaces"), "{said}");
}
