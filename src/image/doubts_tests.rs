use super::*;

/// Words without any regularity (splitmix64, from memory): nothing to doubt.
fn good(words: u32) -> Vec<Word> {
    let mut state = 0x9E37_79B9_u64;
    let mut next = move || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        (mixed ^ (mixed >> 27)) as u32
    };
    (0..words).map(|_| next()).collect()
}

fn look(width: Width, words: &[Word], lanes: &[(String, Lane)]) -> Vec<DoubtKind> {
    let mut bytes = Vec::new();
    for word in words {
        width.put(*word, &mut bytes);
    }
    kinds(&SpaceView { name: "store", width, bytes: &bytes, lanes })
}

fn pair() -> Vec<(String, Lane)> {
    vec![
        ("U1".to_owned(), Lane { first: 0, bits: 16 }),
        ("U2".to_owned(), Lane { first: 16, bits: 16 }),
    ]
}

fn changed(by: impl Fn(usize, Word) -> Word) -> Vec<Word> {
    good(0x400).into_iter().enumerate().map(|(at, word)| by(at, word)).collect()
}

#[test]
fn good_contents_leave_no_doubt() {
    for width in [Width::W8, Width::W16, Width::W32] {
        assert_eq!(look(width, &good(0x400), &pair()), []);
        assert_eq!(look(width, &good(0x301), &[]), []);
    }
    assert_eq!(look(Width::W32, &[], &pair()), []);
}

#[test]
fn a_blank_end_is_no_mirror() {
    let words = changed(|at, word| if at < 0x280 { word } else { u32::MAX });
    assert_eq!(look(Width::W32, &words, &pair()), []);
    // The start happens to be blank too; 0x600 words, so that only 0x200 would be seen twice.
    let mut words = good(0x600);
    words[..0x200].fill(u32::MAX);
    words[0x400..].fill(u32::MAX);
    assert_eq!(look(Width::W32, &words, &pair()), []);
}

#[test]
fn all_blank_says_nothing_else() {
    assert_eq!(look(Width::W16, &[0xFFFF; 64], &pair()), [DoubtKind::AllBlank]);
}

#[test]
fn a_mirror_is_found_at_its_smallest_period() {
    let words = good(0x100).repeat(4);
    assert_eq!(look(Width::W32, &words, &pair()), [DoubtKind::MirroredAt { words: 0x100 }]);
    // Three quarters of a power of two: the last third repeats the first.
    let words = [good(0x400), good(0x200)].concat();
    assert_eq!(look(Width::W16, &words, &[]), [DoubtKind::MirroredAt { words: 0x400 }]);
}

#[test]
fn an_address_line_that_makes_no_difference_is_named() {
    let source = good(0x400);
    let words: Vec<_> = (0..0x400_usize).map(|at| source[at & !0x20]).collect();
    let expected = DoubtKind::AddressIdle { line: 5, chip: None };
    assert_eq!(look(Width::W32, &words, &pair()), [expected]);
}

#[test]
fn an_address_line_open_at_one_chip_is_named_with_it() {
    let source = good(0x400);
    let words = changed(|at, word| word & 0xFFFF | source[at & 0x1FF] & 0xFFFF_0000);
    let expected = DoubtKind::AddressIdle { line: 9, chip: Some("U2".to_owned()) };
    assert_eq!(look(Width::W32, &words, &pair()), [expected]);
}

#[test]
fn constant_lines_are_named_with_their_level() {
    let words = changed(|_, word| word & !0x80 | 0x100);
    assert_eq!(
        look(Width::W16, &words, &pair()),
        [
            DoubtKind::LineConstant { line: 7, level: false },
            DoubtKind::LineConstant { line: 8, level: true },
        ]
    );
}

#[test]
fn a_constant_chip_hides_its_lines() {
    let words = changed(|_, word| word & 0xFFFF | 0x0BAD_0000);
    let lane = Lane { first: 16, bits: 16 };
    let expected = DoubtKind::LaneConstant { chip: "U2".to_owned(), lane, value: 0x0BAD };
    assert_eq!(look(Width::W32, &words, &pair()), [expected]);
}

#[test]
fn followers_are_reported_once() {
    // D3 = D1, D9 = not D1, D12 = D3 = D1.
    let words = changed(|_, word| {
        let bit = word >> 1 & 1;
        word & !(1 << 3 | 1 << 9 | 1 << 12) | bit << 3 | (bit ^ 1) << 9 | bit << 12
    });
    let follows = |line, inverted| DoubtKind::LineFollows { line, other: 1, inverted };
    assert_eq!(
        look(Width::W16, &words, &pair()),
        [follows(3, false), follows(9, true), follows(12, false)]
    );
}

#[test]
fn sentences_name_lines_and_space() {
    let doubt = |kind| Doubt { space: "store".to_owned(), kind }.to_string();
    let low = doubt(DoubtKind::LineConstant { line: 7, level: false });
    assert!(low.starts_with("store: D7 was low in every word: "), "{low}");
    let follows = doubt(DoubtKind::LineFollows { line: 9, other: 1, inverted: true });
    assert!(follows.contains("D9 was the opposite of D1 in every word"), "{follows}");
    let lane = Lane { first: 16, bits: 16 };
    let chip = doubt(DoubtKind::LaneConstant { chip: "U2".to_owned(), lane, value: 0xAD });
    assert!(chip.contains("U2 (D16-D31) gave 0x00AD in every word"), "{chip}");
    let mirror = doubt(DoubtKind::MirroredAt { words: 0x40000 });
    assert!(mirror.contains("every 0x40000 words: address lines from A18 up"), "{mirror}");
}

#[test]
fn of_a_few_words_nothing_is_said_of_single_lines() {
    let bytes: Vec<u8> = (0..63).collect();
    let view = SpaceView { name: "store", width: Width::W8, bytes: &bytes, lanes: &[] };
    let found = doubts(&view);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].kind, DoubtKind::TooFew { words: 63 });
    assert!(found[0].to_string().starts_with("store: 63 words are too few"));
}
