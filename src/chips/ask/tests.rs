//! What is asked, and how it is read.

use super::*;
use crate::bus::Lane;
use crate::bus::script::{LaneRule, Limits, SlotRule, check, list};
use crate::chips::Family;

fn asking(lanes: &[(u8, u8)], way: Way) -> Asking {
    let chips = lanes.iter().map(|&(first, bits)| Wiring::straight(Lane { first, bits }));
    Asking {
        shape: ShapeId(0),
        width: Width::W32,
        base: WordAddress(0),
        chips: chips.collect(),
        others: Vec::new(),
        way,
    }
}

const PAIR: &[(u8, u8)] = &[(0, 16), (16, 16)];
const FOUR: &[(u8, u8)] = &[(0, 8), (8, 8), (16, 8), (24, 8)];

fn addresses(asking: &Asking) -> Vec<u32> {
    asking.written().iter().map(|at| at.0).collect()
}

#[test]
fn a_permit_for_the_listed_addresses_covers_every_write() {
    let of = |family, bits, lanes| {
        let ways = Way::of_family(family, bits);
        ways.into_iter().map(|way| addresses(&asking(lanes, way))).collect::<Vec<_>>()
    };
    assert_eq!(of(Family::Amd, 16, PAIR), [vec![0, 0x55, 0x2AA, 0x555]]);
    assert_eq!(of(Family::Jedec, 8, FOUR), [vec![0, 0x2AAA, 0x5555]]);
    assert_eq!(of(Family::Intel, 16, PAIR), [vec![0]]);
    assert_eq!(
        of(Family::Amd, 8, FOUR),
        [vec![0, 0x55, 0x2AA, 0x555], vec![0, 0xAA, 0x555, 0xAAA]]
    );
    // A plain reset would be data to a page-write part.
    assert_eq!(of(Family::Page, 8, FOUR), [vec![0x2AAA, 0x5555]]);
}

/// The kit's smallest board takes so many bytes and remembers so many words.
#[test]
fn every_script_of_every_way_fits_a_small_adapter_and_the_checker() {
    const BYTES: usize = 384;
    const EMITTED: usize = 32;
    let rule = SlotRule { width: Width::W32, lanes: LaneRule::Rest };
    let limits =
        Limits { bytes: BYTES as u32, emitted: EMITTED as u32, ..Limits::with_shapes([rule]) };
    let reads = reads_a_script(BYTES, EMITTED);
    assert_eq!((reads, reads_a_script(0, 0), reads_a_script(512, 254)), (32, 1, 64));
    let apart: Vec<_> = (0..100).map(|n| WordAddress(0x20_0000 + n * 2)).collect();
    for ((lanes, bits), base) in [((PAIR, 16), 0), ((FOUR, 8), 0), ((FOUR, 8), 0x20_0000)] {
        let families = Family::ALL.map(|family| Way::of_family(family, bits)).concat();
        for way in [families, Way::of_unknown(bits)].concat() {
            let asking = Asking { base: WordAddress(base), ..asking(lanes, way) };
            let query = asking.query_addresses(0..QUERY_WORDS);
            let more = [
                asking.query(&query, reads),
                asking.query(&apart, reads),
                asking.codes(&apart, reads),
            ];
            let scripts = more.into_iter().flatten().flat_map(Result::unwrap);
            for script in scripts.chain([asking.ids(|_| 0), asking.reset()].map(Result::unwrap)) {
                assert!(script.0.len() <= BYTES, "{way}: {} bytes", script.0.len());
                check(&script, &limits).unwrap_or_else(|error| panic!("{way}: {error}"));
            }
        }
    }
}

/// The lines of the first atomic stretch, with their indentation.
fn way_in(text: &str) -> Vec<&str> {
    let lines = text.lines().map(|line| &line[6..]).skip_while(|line| line.trim() != "atomic");
    lines.skip(1).take_while(|line| *line != "  end").collect()
}

#[test]
fn what_holds_the_first_command_gets_no_second() {
    let way = Way::of_family(Family::Amd, 16)[0];
    let text = list(&asking(PAIR, way).ids(|_| 0).unwrap());
    assert_eq!(
        way_in(&text),
        [
            "    write AA00AA at 0x555",
            "    D = read 0x555",
            "    skip 7 if D under FFFF is AA",
            "    skip 6 if D under FFFF0000 is AA0000",
            "    write 550055 at 0x2AA",
            "    D = read 0x2AA",
            "    skip 3 if D under FFFF is 55",
            "    skip 2 if D under FFFF0000 is 550000",
            "    write 900090 at 0x555",
            "    A = 0x1",
        ],
        "{text}"
    );
    // A lane that held it before tells nothing; the second command is judged there, too.
    let held = |at: WordAddress| if at.0 == 0x555 { 0x00AA } else { 0 };
    let text = list(&asking(PAIR, way).ids(held).unwrap());
    assert!(!text.contains("under FFFF is AA\n"), "{text}");
    assert!(text.contains("under FFFF is 55\n"), "{text}");
}

/// A page-write part must not be left by a write that it takes for data.
#[test]
fn page_write_parts_get_whole_sequences_and_time() {
    let way = Way::of_family(Family::Page, 8)[0];
    let asking = asking(FOUR, way);
    let text = list(&asking.reset().unwrap());
    let said: Vec<_> = text.lines().map(|line| line[6..].trim()).skip(3).collect();
    assert_eq!(
        said,
        [
            "atomic",
            "write AAAAAAAA at 0x5555",
            "write 55555555 at 0x2AAA",
            "write F0F0F0F0 at 0x5555",
            "end",
            "delay 10000 us"
        ],
        "{text}"
    );
    let codes = asking.codes(&[WordAddress(0)], 8).unwrap().unwrap();
    let text = list(&codes[0]);
    assert_eq!((text.matches("atomic").count(), text.matches("delay").count()), (2, 2), "{text}");
    assert!(!text.contains("finally"), "{text}");
}

#[test]
fn memory_that_takes_writes_is_told_from_flash() {
    const WRITTEN: WordAddress = WordAddress(1);
    let way = Way::of_family(Family::Amd, 16)[0];
    let asking = asking(PAIR, way);
    let ids = [0x01_0001, 0x225B_225B, 0, 0, 0, 0, 0, 0x01_0001, 0x225B_225B];
    let answer = |held: Word, a, before| {
        asking.answer(&[&[held][..], &ids].concat(), a, |_| before).unwrap()
    };
    let Answer::Words { ids: words, moved } = answer(0, WRITTEN, 0) else { panic!("flash") };
    assert_eq!((words.len(), moved), (7, 0));
    let takes = |lanes| Answer::TakesWrites { lanes };
    assert_eq!(answer(0x00AA_1234, WordAddress(0), 0), takes(0xFFFF_0000));
    assert_eq!(answer(0x1234_0055, WordAddress(0), 0), takes(0x0000_FFFF));
    // Blank flash that held a command before is no such memory, nor one that holds the first where
    // the second goes.
    assert!(matches!(answer(0xAA_00AA, WRITTEN, 0xAA_00AA), Answer::Words { .. }));
    assert!(matches!(answer(0x00AA_1234, WRITTEN, 0), Answer::Words { .. }));
    assert_eq!(asking.answer(&[1, 2, 3], WRITTEN, |_| 0), None);
}

#[test]
fn chips_beside_get_a_reset() {
    let way = Way::of_family(Family::Intel, 16)[0];
    let mut one = asking(&PAIR[..1], way);
    one.others = vec![Wiring::straight(Lane { first: 16, bits: 16 })];
    assert_eq!((one.every(0x90), one.lanes()), (0x00FF_0090, 0xFFFF));
}
