//! Plans against a naive model: words in a list, carried out one by one.

use super::*;
use crate::bus::{Baud, Digest, Lane, Width, WordAddress};
use crate::jobs::VerifyPart;
use crate::module::Sheet;
use crate::shelf::{Action, Estimate, ImageRecord, Label, Part, PlannedSpace};
use jiff::Timestamp;
use proptest::prelude::*;

/// Words of the space of the test sheet, which begins at [`BASE`].
const WORDS: u32 = 64;
const BASE: u32 = 0x100;

fn sheet(zones: &str) -> Sheet {
    let text = format!(
        "format = 1\nname = \"T\"\nrail_mv = 3300\naddress_lines = 12\n[[space]]\n\
         name = \"store\"\nkind = \"flash\"\nwidth = 16\nbase = {BASE}\nwords = {WORDS}\n\
         select = {{ CS0 = \"low\" }}\nchips = [{{ ref = \"U1\", lane = \"D0-D7\" }}, \
         {{ ref = \"U2\", lane = \"D8-D15\" }}]\n{zones}"
    );
    Sheet::parse("t.toml", &text).unwrap()
}

fn zone(name: &str, first: u32, words: u32, flag: &str) -> String {
    let first = BASE + first;
    format!(
        "[[zone]]\nspace = \"store\"\nname = \"{name}\"\nrange = \"0x{first:X}+{words}\"\n\
         {flag} = true\n"
    )
}

fn ways(sizes: &[u32], unit: Unit) -> Ways {
    let mut first = 0;
    let sectors = sizes.iter().map(|&words| {
        let sector = SectorNow { first, words, lock: SectorLock::Open, in_doubt: false };
        first += words;
        sector
    });
    Ways {
        sectors: sectors.collect(),
        lanes: vec![Lane { first: 0, bits: 8 }, Lane { first: 8, bits: 8 }],
        unit,
        unlocks_all: false,
        pace: Pace { program_us: 10.0, erase_ms: 700.0 },
    }
}

fn bytes(words: &[u16]) -> Vec<u8> {
    words.iter().flat_map(|word| word.to_le_bytes()).collect()
}

fn words(bytes: &[u8]) -> Vec<u16> {
    Width::W16.words(bytes).map(|word| word as u16).collect()
}

fn part(first: u32, words: &[u16]) -> VerifyPart {
    let part = Part {
        space: "store".into(),
        width: Width::W16,
        base: WordAddress(BASE),
        first: WordAddress(first),
        words: words.len() as u32,
    };
    VerifyPart { space: 0, part, expected: bytes(words) }
}

fn draft(take: &[&str]) -> Draft {
    Draft {
        time: Timestamp::UNIX_EPOCH,
        specimen: Label::parse("T #1").unwrap(),
        simulated: false,
        what: "a test".into(),
        take: take.iter().map(ToString::to_string).collect(),
        backup: "1-001".parse().unwrap(),
        backup_sha256: String::new(),
        way_back: None,
        image: ImageRecord {
            name: "image.bin".into(),
            sha256: String::new(),
            capture: None,
            specimen: None,
        },
        fit: Vec::new(),
        chip_files: Vec::new(),
    }
}

const LINE: Line = Line { baud: Some(Baud(10_000)), clock_hz: 0, ram_bytes: 0, ram_words: 0 };

fn planned(
    sheet: &Sheet,
    ways: Ways,
    now: &[u16],
    image: &[VerifyPart],
    take: &[&str],
) -> Computed {
    let flash = Flash { index: 0, now: bytes(now), ways, chips: Vec::new() };
    compute(draft(take), sheet, &[flash], image, &LINE)
}

fn actions(plan: &Computed) -> Vec<Action> {
    plan.plan.spaces[0].sectors.iter().map(|sector| sector.action).collect()
}

/// A pattern that is nowhere blank.
fn full() -> Vec<u16> {
    (0..WORDS as u16).map(|n| 0x1234 ^ n).collect()
}

#[test]
fn only_sectors_that_differ_are_touched() {
    let now = full();
    let mut image = now.clone();
    image[20] = 0x4321;
    let plan = planned(&sheet(""), ways(&[16; 4], Unit::Word), &now, &[part(0, &image)], &[]);
    assert_eq!(actions(&plan), [Action::Keep, Action::Erase, Action::Keep, Action::Keep]);
    assert_eq!(words(&plan.target), image);
    let [same, changed, ..] = &plan.plan.spaces[0].sectors[..] else { panic!("four sectors") };
    assert_eq!((same.before, same.programmed), (same.after, 0));
    assert_eq!((changed.first.0, changed.words, changed.programmed), (16, 16, 16));
    assert_eq!(changed.before, Digest::of(Width::W16, &bytes(&now[16..32]), false).crc);
    assert_eq!(changed.after, Digest::of(Width::W16, &bytes(&image[16..32]), false).crc);
    let nothing = planned(&sheet(""), ways(&[64], Unit::Word), &now, &[part(0, &now)], &[]);
    assert!(nothing.plan.is_empty() && nothing.missed.is_empty());
    assert_eq!(nothing.plan.estimate, Estimate::default());
}

#[test]
fn words_of_a_sector_that_the_image_does_not_have_are_preserved() {
    let now = full();
    let plan = planned(&sheet(""), ways(&[32, 32], Unit::Word), &now, &[part(8, &[7, 8])], &[]);
    let mut expected = now.clone();
    expected[8..10].copy_from_slice(&[7, 8]);
    assert_eq!(words(&plan.target), expected);
    assert_eq!(plan.plan.spaces[0].sectors[0].programmed, 32);
}

#[test]
fn kept_zones_keep_their_words_unless_they_are_named() {
    let sheet = sheet(&zone("constants", 40, 8, "keep"));
    let (now, image) = (full(), vec![0xAAAA; 64]);
    let plan = |take: &[&str]| {
        let all = [part(0, &image)];
        words(&planned(&sheet, ways(&[32, 16, 16], Unit::Word), &now, &all, take).target)
    };
    let kept = plan(&[]);
    assert_eq!(kept[40..48], now[40..48]);
    assert!(kept[..40].iter().chain(&kept[48..]).all(|word| *word == 0xAAAA));
    assert_eq!(plan(&["constants"]), image);
}

#[test]
fn sectors_with_words_that_are_not_touched_are_left() {
    for (flag, why) in [("live", "changing by themselves"), ("keep_off", "never touched")] {
        let sheet = sheet(&zone("clock", 20, 1, flag));
        let all = [part(0, &[0xAAAA; 64])];
        let plan = planned(&sheet, ways(&[16; 4], Unit::Word), &full(), &all, &["clock"]);
        let [_, left, ..] = &plan.plan.spaces[0].sectors[..] else { panic!("four sectors") };
        assert_eq!(left.action, Action::Leave);
        assert!(left.why.contains("zone clock") && left.why.contains(why), "{}", left.why);
        assert_eq!(left.before, left.after);
        let missed = Missed { space: "store".into(), sector: 1, words: 15 };
        assert_eq!(plan.missed, [missed]);
        assert_eq!(words(&plan.target)[16..32], full()[16..32]);
    }
}

#[test]
fn locks_decide_what_can_be_done() {
    let mut ways = ways(&[16; 4], Unit::Word);
    ways.sectors[0].lock = SectorLock::Fixed("locked down");
    ways.sectors[1].lock = SectorLock::Opens;
    ways.unlocks_all = true;
    let mut image = full();
    image[0] = 0;
    image[16] = 0;
    let plan = planned(&sheet(""), ways.clone(), &full(), &[part(0, &image)], &[]);
    assert_eq!(actions(&plan), [Action::Locked, Action::Erase, Action::Keep, Action::Keep]);
    let sectors = &plan.plan.spaces[0].sectors;
    assert_eq!((sectors[0].why.as_str(), sectors[0].unlock), ("locked down", false));
    assert!(sectors[1].unlock && !sectors[2].unlock);
    assert!(plan.plan.fit[0].contains("all locks are cleared"), "{:?}", plan.plan.fit);
    assert_eq!(plan.missed, [Missed { space: "store".into(), sector: 0, words: 1 }]);
    // A lock matters only where something is to change.
    let same = planned(&sheet(""), ways, &full(), &[part(0, &full())], &[]);
    assert_eq!(actions(&same), [Action::Keep; 4]);
    assert!(same.plan.fit.is_empty());
}

#[test]
fn a_unit_that_holds_something_is_erased_first() {
    let mut now = vec![0xFFFF; 64];
    now[5] = 0xFF00;
    let one = |at: usize, value: u16, unit| {
        let mut image = now.clone();
        image[at] = value;
        let plan = planned(&sheet(""), ways(&[64], unit), &now, &[part(0, &image)], &[]);
        (actions(&plan)[0], plan.plan.spaces[0].sectors[0].programmed)
    };
    assert_eq!(one(6, 0x1234, Unit::Word), (Action::Program, 1));
    // The chip of the other lane is blank there.
    assert_eq!(one(5, 0x1200, Unit::Word), (Action::Program, 1));
    assert_eq!(one(5, 0xFE00, Unit::Word), (Action::Program, 1));
    assert_eq!(one(5, 0xFF40, Unit::Word).0, Action::Erase);
    assert_eq!(one(5, 0xFFFF, Unit::Word), (Action::Erase, 0));
    // A line of the buffer is one unit of all chips.
    assert_eq!(one(6, 0x1234, Unit::Line(4)).0, Action::Erase);
    assert_eq!(one(8, 0x1234, Unit::Line(4)), (Action::Program, 1));
    assert_eq!(one(8, 0x1234, Unit::Page(4)).0, Action::Erase);
}

#[test]
fn times_add_up() {
    let (now, image) = (vec![0xFFFF; 64], vec![0; 64]);
    let plan = planned(&sheet(""), ways(&[64], Unit::Word), &now, &[part(0, &image)], &[]);
    let estimate = plan.plan.estimate;
    // 128 bytes of ten bits at 10,000 baud, and frames.
    assert!((estimate.line_s - 0.128 * 1.03).abs() < 1e-9, "{estimate:?}");
    assert!(estimate.erase_s + estimate.program_s < 1e-9, "{estimate:?}");
    let mut slow = ways(&[64], Unit::Word);
    slow.pace.program_us = 10_000.0;
    let now = full();
    let estimate = planned(&sheet(""), slow, &now, &[part(0, &image)], &[]).plan.estimate;
    assert!((estimate.erase_s - 0.7).abs() < 1e-9, "{estimate:?}");
    assert!((estimate.line_s + estimate.program_s - 0.64).abs() < 1e-9, "{estimate:?}");
    assert!(estimate.total_s > estimate.line_s + estimate.erase_s + estimate.program_s);
}

/// Words as chips have them: often blank, often equal.
fn some_words() -> impl Strategy<Value = Vec<u16>> {
    let word = prop_oneof![Just(0xFFFF), Just(0xFF00), Just(0x00FF), Just(0x1234), any::<u16>()];
    proptest::collection::vec(word, WORDS as usize)
}

/// What a chip does: bits only fall until its sector is erased.
fn carried_out(space: &PlannedSpace, now: &[u16], target: &[u16]) -> Vec<u16> {
    let mut cells = now.to_vec();
    for sector in &space.sectors {
        let all = sector.first.0 as usize..(sector.first.0 + sector.words) as usize;
        if sector.action == Action::Erase {
            cells[all.clone()].fill(0xFFFF);
        }
        if matches!(sector.action, Action::Program | Action::Erase) {
            all.for_each(|at| cells[at] &= target[at]);
        }
    }
    cells
}

proptest! {
    #[test]
    fn a_plan_carried_out_gives_what_was_wanted(
        now in some_words(),
        image in some_words(),
        (first, length) in (0..WORDS, 1..=WORDS),
        like_now in proptest::collection::vec(any::<bool>(), 8),
        locks in proptest::collection::vec(0..4_u8, 8),
        (kept, live) in (0..WORDS - 8, 0..WORDS),
        (take, has_live) in (any::<bool>(), any::<bool>()),
        unit in prop_oneof![Just(Unit::Word), Just(Unit::Line(4)), Just(Unit::Page(8))],
    ) {
        let length = length.min(WORDS - first);
        let mut zones = zone("kept", kept, 8, "keep");
        if has_live && !(kept..kept + 8).contains(&live) {
            zones += &zone("live", live, 1, "live");
        }
        let has_live = zones.contains("live");
        let sheet = sheet(&zones);
        let mut ways = ways(&[8; 8], unit);
        for (sector, lock) in ways.sectors.iter_mut().zip(&locks) {
            sector.lock = match lock {
                0 => SectorLock::Fixed("fixed"),
                1 => SectorLock::Opens,
                _ => SectorLock::Open,
            };
        }
        let mut image = image;
        for sector in (0..8).filter(|sector| like_now[*sector]) {
            image[sector * 8..sector * 8 + 8].copy_from_slice(&now[sector * 8..sector * 8 + 8]);
        }
        let inside = first as usize..(first + length) as usize;
        let parts = [part(first, &image[inside.clone()])];
        let taken: &[&str] = if take { &["kept"] } else { &[] };
        let plan = planned(&sheet, ways, &now, &parts, taken);
        let space = &plan.plan.spaces[0];
        let target = words(&plan.target);

        prop_assert_eq!(carried_out(space, &now, &target), target.clone());
        for (number, sector) in space.sectors.iter().enumerate() {
            let all = number * 8..number * 8 + 8;
            let keeps = |at: usize| {
                let zone = kept as usize..kept as usize + 8;
                !inside.contains(&at) || zone.contains(&at) && !take
                    || has_live && at == live as usize
            };
            let wanted: Vec<u16> =
                all.clone().map(|at| if keeps(at) { now[at] } else { image[at] }).collect();
            let stays = has_live && all.contains(&(live as usize)) || locks[number] == 0;
            let missed = plan.missed.iter().find(|missed| missed.sector as usize == number);
            let differing = wanted.iter().zip(&now[all.clone()]).filter(|(a, b)| a != b).count();
            if stays {
                prop_assert_eq!(&target[all.clone()], &now[all.clone()]);
                prop_assert_eq!(missed.map_or(0, |missed| missed.words as usize), differing);
            } else {
                prop_assert_eq!(&target[all.clone()], &wanted[..]);
                prop_assert_eq!(missed, None);
            }
            let before = Digest::of(Width::W16, &bytes(&now[all.clone()]), false).crc;
            let after = Digest::of(Width::W16, &bytes(&target[all.clone()]), false).crc;
            prop_assert_eq!((sector.before, sector.after), (before, after));
            let changes = matches!(sector.action, Action::Program | Action::Erase);
            prop_assert_eq!(changes, now[all.clone()] != target[all.clone()]);
            prop_assert_eq!(sector.unlock, changes && locks[number] == 1);
            if sector.action == Action::Program {
                for at in all {
                    let line = at / 4 * 4..at / 4 * 4 + 4;
                    let blank = match unit {
                        Unit::Word => [0xFF, 0xFF00].iter().all(|lane| {
                            (now[at] ^ target[at]) & lane == 0 || now[at] & lane == *lane
                        }),
                        Unit::Line(_) => now[line].iter().all(|word| *word == 0xFFFF),
                        Unit::Page(_) => false,
                    };
                    prop_assert!(now[at] == target[at] || blank);
                }
            }
        }
    }

    #[test]
    fn nothing_is_planned_for_what_is_there(now in some_words(), first in 0..WORDS) {
        let parts = [part(first, &now[first as usize..])];
        let plan = planned(&sheet(""), ways(&[16; 4], Unit::Word), &now, &parts, &[]);
        prop_assert!(plan.plan.is_empty() && plan.missed.is_empty());
        prop_assert_eq!(words(&plan.target), now);
    }
}
