//! Which runs program a range of words: each word once, nothing beyond a line.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use super::*;
use crate::bus::Lane;
use crate::bus::script::{LaneRule, Limits, SlotRule, check, list};
use crate::chips::{Catalogue, Finding};
use proptest::prelude::*;

fn abilities() -> Abilities {
    Abilities {
        bypass: false,
        buffer_words: None,
        page_words: None,
        locks: LockKind::Fixed,
        program_us: (9, 300),
        buffer_us: (100, 4_000),
        erase_ms: (700, 18_750),
        chip_ms: 100_000,
    }
}

fn pair(family: Family, abilities: Abilities) -> Writing {
    let lane = |first| Wiring::straight(Lane { first, bits: 16 });
    Writing {
        shape: ShapeId(2),
        width: Width::W32,
        base: WordAddress(0x10_0000),
        chips: vec![lane(0), lane(16)],
        way: Way::of_family(family, 16)[0],
        abilities,
    }
}

/// The table of QEMU's parts of the AMD family lets a sector take 524 s, and with a margin more
/// than any run may last; one with the largest exponents lets it take years.
#[test]
fn a_table_that_allows_too_long_gives_scripts_that_an_adapter_takes() {
    let qemu: [u8; 33] = [
        0x51, 0x52, 0x59, 2, 0, 0x40, 0, 0, 0, 0, 0, 0x27, 0x36, 0, 0, 7, 0, 9, 0xC, 1, 0, 0xA,
        0xD, 0x17, 2, 0, 0, 0, 1, 0x7F, 0, 0, 1,
    ];
    let mut endless = qemu;
    endless[0x1F - 0x10..0x23 - 0x10].fill(0x18);
    endless[0x23 - 0x10..0x27 - 0x10].fill(0xF);
    endless[0x2A - 0x10] = 5;
    let wiring = Wiring::straight(Lane { first: 0, bits: 16 });
    let way = Way::of_family(Family::Amd, 16)[0];
    for table in [qemu, endless] {
        let mut finding = Finding::new(way, &wiring, &[0xBF, 0x236D, 0, 0, 0, 0, 0], 0, &[0; 7]);
        let words: Vec<_> = table.iter().map(|byte| Word::from(*byte)).collect();
        finding.take_query(&wiring, &words);
        assert!(matches!(finding.cfi, Some(Ok(_))), "{:?}", finding.cfi);
        let (catalogue, chips) = (Catalogue::built_in().unwrap(), vec![wiring.clone()]);
        let abilities = Abilities::of(&[finding], &catalogue, &chips, way).unwrap();
        let (width, base) = (Width::W16, WordAddress(0));
        let writing = Writing { shape: ShapeId(0), width, base, chips, way, abilities };
        let limits = Limits::with_shapes([SlotRule { width, lanes: LaneRule::Rest }]);
        let erases = [writing.erase().unwrap(), writing.erase_chip().unwrap().unwrap()].concat();
        let words = writing.script(ScriptKind::Words).unwrap();
        let buffers = writing.script(ScriptKind::Buffers).unwrap();
        let scripts = erases.into_iter().map(|script| (script, 1));
        // As many words, and buffers of 16, as a RUN may bring.
        for (script, n) in scripts.chain([(words, 512), (buffers, 32)]) {
            let checked = check(&script, &limits).unwrap_or_else(|why| panic!("{why}"));
            assert_eq!(checked.need(n).err(), None, "{}", list(&script));
        }
    }
}

/// A sector of QEMU's parts is blank 512 us after the command.
#[test]
fn an_erase_that_ends_between_two_looks_has_begun() {
    let pair = pair(Family::Amd, abilities());
    for (second, begun) in [
        ([0x44, 0x00, 0x44], true),
        ([0x44, 0x00, 0xFFFF], true),
        ([0x44, 0xFFFF, 0xFFFF], true),
        ([0xFFFF; 3], true),
        ([0x1234; 3], false),
        ([0x44, 0x00, 0x00], false),
    ] {
        let emitted: Vec<_> =
            [0x44, 0x00, 0x44].iter().zip(second).map(|(one, two)| one | two << 16).collect();
        assert_eq!(pair.started(&emitted), [true, begun], "{emitted:X?}");
    }
}

#[test]
fn the_script_of_a_word() {
    let text = "\
0000  shape 2
0002  rest F000F0
0007  A = B
0008  loop N
0009    skip 8 if payload is FFFFFFFF
000F    critical, at most 51 ms
0014      write AA00AA at 0x100555
001D      write 550055 at 0x1002AA
0026      write A000A0 at 0x100555
002F      write next payload at A
0030      payload back
0031      wait data at A in lanes of 16 for payload, failing at 200020, at most 1 ms
003B    end
003C    payload on
003D    A +1
0040  end
0041  finally
0042    write F000F0 at B
";
    let script = pair(Family::Amd, abilities()).script(ScriptKind::Words).unwrap();
    assert_eq!(list(&script), text);
}

#[test]
fn command_addresses_are_few() {
    let of = |family, abilities| {
        let all = pair(family, abilities).command_addresses();
        all.iter().map(|at| at.0 - 0x10_0000).collect::<Vec<_>>()
    };
    assert_eq!(of(Family::Amd, abilities()), [0, 0x2AA, 0x555]);
    assert_eq!(of(Family::Jedec, abilities()), [0, 0x2AAA, 0x5555]);
    assert_eq!(of(Family::Intel, abilities()), [0]);
    assert_eq!(of(Family::Page, abilities()), [0x2AAA, 0x5555]);
}

#[test]
fn time_outs_are_whole_milliseconds_and_never_none() {
    use super::cycles::timeout_ms;
    assert_eq!([0, 1, 800, 801, 4_000, u32::MAX].map(timeout_ms), [1, 1, 1, 2, 5, 5_368_710]);
    assert_eq!(super::abilities::with_margin(15_000), 18_750);
}

#[test]
fn an_unlock_address_that_is_not_known_sends_nothing() {
    let mut writing = pair(Family::Amd, abilities());
    writing.way.unlock = crate::chips::Unlock::Unsure;
    for script in writing.erase().unwrap() {
        assert!(!list(&script).contains("write 30"), "{}", list(&script));
    }
}

#[test]
fn blank_words_cost_nothing() {
    let writing = pair(Family::Amd, abilities());
    assert_eq!(writing.program(0, &vec![u32::MAX; 5000], 256), []);
    let mut words = vec![u32::MAX; 5000];
    (words[100], words[4000]) = (1, 2);
    let steps = writing.program(0x40, &words, 256);
    let places: Vec<_> = steps.iter().map(|step| (step.b.0, step.n)).collect();
    assert_eq!(places, [(0x10_00A4, 1), (0x10_0FE0, 1)]);
}

#[test]
fn full_buffers_share_a_run() {
    use ScriptKind::{Buffers, PartBuffer, Words};
    let writing = pair(Family::Amd, Abilities { buffer_words: Some(16), ..abilities() });
    let words = vec![7; 16 * 20 + 9];
    let steps = writing.program(8, &words, 256);
    let shape: Vec<_> = steps.iter().map(|step| (step.kind, step.n, step.payload.len())).collect();
    assert_eq!(shape, [(PartBuffer, 8, 9), (Buffers, 16, 256), (Buffers, 4, 64), (Words, 1, 1)]);
    assert_eq!(steps[0].payload[0], 0x0007_0007);
}

/// The words that steps write, by their place from the base; every one once.
fn written(
    writing: &Writing,
    steps: &[Step],
    most: usize,
) -> std::collections::BTreeMap<u32, Word> {
    let mut all = std::collections::BTreeMap::new();
    let line = writing.abilities.buffer_words.unwrap_or(1);
    for step in steps {
        assert!(step.payload.len() <= most.max(1), "{} of {most}", step.payload.len());
        let start = step.b.0 - writing.base.0;
        let words = match step.kind {
            ScriptKind::Words => &step.payload[..],
            ScriptKind::Buffers => {
                assert_eq!((start % line, step.payload.len() as u32), (0, step.n * line));
                &step.payload[..]
            }
            ScriptKind::PartBuffer => {
                assert_eq!(start / line, (start + step.n - 1) / line, "across a line");
                assert_eq!(step.payload[0] & 0xFFFF, step.n - 1);
                &step.payload[1..]
            }
            ScriptKind::Pages | ScriptKind::BlankPages => unreachable!(),
        };
        for (at, word) in (start..).zip(words) {
            assert_eq!(all.insert(at, *word), None, "word {at:X} twice");
        }
    }
    all
}

proptest! {
    #[test]
    fn every_word_is_programmed_once(
        first in 0_u32..200,
        runs in prop::collection::vec((1_usize..60, 0_u8..3), 0..20),
        most in 1_usize..300,
        line in prop::option::of(2_u32..8),
    ) {
        let buffer_words = line.map(|line| 1 << line);
        let writing = pair(Family::Intel, Abilities { buffer_words, ..abilities() });
        let mut words = Vec::new();
        for (count, kind) in runs {
            words.extend((0..count).map(|n| match kind {
                0 => u32::MAX,
                1 => 0xFFFF_0000 | n as u32,
                _ => n as u32,
            }));
        }
        let all = written(&writing, &writing.program(first, &words, most), most);
        for (at, word) in (first..).zip(&words) {
            let got = all.get(&at);
            prop_assert!(got == Some(word) || got.is_none() && *word == u32::MAX, "{at:X}");
        }
        prop_assert!(all.keys().all(|at| (first..first + words.len() as u32).contains(at)));
    }

    #[test]
    fn pages_go_whole(first in 0_u32..700, words in prop::collection::vec(any::<u32>(), 1..900)) {
        let writing = pair(Family::Page, Abilities { page_words: Some(128), ..abilities() });
        let steps = writing.program(first, &words, 256);
        let mut next = first / 128 * 128;
        for step in &steps {
            prop_assert_eq!(step.b.0 - writing.base.0, next);
            prop_assert_eq!(step.payload.len() as u32, step.n * 128);
            next += step.n * 128;
        }
        prop_assert!(next >= first + words.len() as u32);
        let payload: Vec<_> = steps.iter().flat_map(|step| step.payload.iter()).collect();
        let start = (first % 128) as usize;
        prop_assert!(payload[start..].iter().zip(&words).all(|(got, word)| *got == word));
        prop_assert!(payload[..start].iter().all(|word| **word == u32::MAX));
    }
}
