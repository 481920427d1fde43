//! The built-in table, chip files of users, and what ids say.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use super::*;
use crate::bus::{Millivolts, Nanos, Width};
use crate::chips::geometry::{listed, total};
use crate::chips::{Boot, Doubt, Family, MakerId, Unlock, settle};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::sync::LazyLock;

const GOOD: &str = r#"[[chip]]
name = "Tern 8M"
maker = 0x52
device = [0x22D3]
bus = "x8/x16"
size = "1M"
sectors = "1 x 16K, 2 x 8K, 1 x 32K, 15 x 64K"
family = "amd"
cfi = false
vcc_mv = [2700, 3600]
times = { word_us = [9, 300], sector_ms = [700, 15000] }
source = "datasheet Tern 8M p4"
"#;

fn maker(code: u8) -> MakerId {
    MakerId { bank: 1, code }
}

fn built_in() -> Catalogue {
    Catalogue::built_in().unwrap()
}

#[test]
fn the_built_in_table_is_whole() {
    let catalogue = built_in();
    assert_eq!(catalogue.parts().len(), 182);
    let names: BTreeSet<_> = catalogue.parts().iter().map(|part| &part.name).collect();
    assert_eq!(names.len(), 182);
    for part in catalogue.parts() {
        let geometry = &part.geometry;
        let name = &part.name;
        assert!(geometry.size_bytes.is_power_of_two(), "{name}");
        assert!(part.maker.name().is_some(), "{name}: maker {}", part.maker);
        let whole = total(&geometry.regions) == geometry.size_bytes;
        assert!(whole || geometry.doubt == Some(Doubt::NoSectors), "{name}: {geometry}");
        assert!(!part.source.is_empty(), "{name}");
        // A part whose device ids are all that tells its boot end must tell it.
        let found = catalogue.identify(part.maker, &part.device, widest(part.bus));
        assert!(found.parts().iter().any(|other| other == &part), "{name} is not found");
        let no_commands = part.unlock == Unlock::Unsure && part.note.is_some();
        assert!(part.family.is_some() || no_commands, "{name}");
    }
    let memory = catalogue.parts().iter().filter(|part| part.is_from_memory()).count();
    assert!(memory > 28, "{memory} rows say that they are from memory");
}

fn widest(bus: Bus) -> Width {
    if bus.has(Width::W16) { Width::W16 } else { Width::W8 }
}

/// Ids printed in datasheets: Am29LV160D table 9, Am29F016D table 9, SST39SF S71147 table 4,
/// AT29C040A operating modes, 28F160S5/320S5 table 12, 28F320J5/640J5 table 13.
#[test]
fn printed_ids() {
    let catalogue = built_in();
    let rows: [(u8, u16, Width, &str, Family); 8] = [
        (0x01, 0x22C4, Width::W16, "Am29LV160DT", Family::Amd),
        (0x01, 0xC4, Width::W8, "Am29LV160DT", Family::Amd),
        (0x01, 0x2249, Width::W16, "Am29LV160DB", Family::Amd),
        (0x01, 0xAD, Width::W8, "Am29F016D", Family::Amd),
        (0xBF, 0xB5, Width::W8, "SST39SF010A", Family::Jedec),
        (0x1F, 0xA4, Width::W8, "AT29C040A", Family::Page),
        (0xB0, 0xD4, Width::W8, "28F320S5", Family::Intel),
        (0x89, 0x14, Width::W16, "28F320J5", Family::Intel),
    ];
    for (code, device, width, name, family) in rows {
        let identity = catalogue.identify(maker(code), &[device], width);
        let Identity::One(part) = &identity else { panic!("{name}: {identity}") };
        assert!(part.name.starts_with(name), "{identity}");
        assert_eq!(part.family, Some(family), "{name}");
    }
}

#[test]
fn the_maker_decides_between_equal_device_ids() {
    let catalogue = built_in();
    let intel = catalogue.identify(maker(0x89), &[0xA2], Width::W8);
    let amd = catalogue.identify(maker(0x01), &[0xA2], Width::W8);
    assert_eq!((intel.to_string(), amd.to_string()), ("28F008SA".into(), "Am28F010A".into()));
    assert_eq!(amd.parts()[0].family, None);
    assert_eq!(intel.parts()[0].vpp, Some(Millivolts(12_000)));
}

#[test]
fn unknown_chips_keep_their_ids() {
    let catalogue = built_in();
    let identity = catalogue.identify(maker(0x43), &[0x1234, 0x56], Width::W16);
    assert_eq!(identity.to_string(), "unknown chip, maker 0x43 device 0x1234 0x56");
    assert_eq!((identity.parts().len(), identity.geometry()), (0, None));
    assert_eq!(settle(None, &identity), None);
    let silent = catalogue.identify(maker(0x01), &[], Width::W16);
    assert_eq!(silent.to_string(), "unknown chip, maker 0x01 (AMD/Spansion) device not read");
    let wide = catalogue.identify(maker(0x01), &[0x22C4], Width::W32);
    assert!(matches!(wide, Identity::Unknown { .. }), "no chip has 32 lines");
}

#[test]
fn three_cycle_ids() {
    let catalogue = built_in();
    let cut = catalogue.identify(maker(0x01), &[0x227E], Width::W16);
    assert!(Identity::is_cut_short(&[0x227E]) && Identity::is_cut_short(&[0x7E]));
    assert!(cut.parts().len() >= 5, "{cut}");
    assert_eq!(cut.geometry(), None);
    assert!(cut.to_string().starts_with("one of Am29LV640MH"), "{cut}");
    let device = [0x227E, 0x2210, 0x2200];
    let whole = catalogue.identify(maker(0x01), &device, Width::W16);
    assert_eq!(whole.to_string(), "S29GL064N model 04");
    assert!(!Identity::is_cut_short(&device));
    let bytes = catalogue.identify(maker(0x01), &[0x7E, 0x10, 0x01], Width::W8);
    assert_eq!(bytes.to_string(), "S29GL064N model 03");
    // Of a part with a short id, what stands at the further addresses is not looked at.
    let short = catalogue.identify(maker(0x01), &[0x22C4, 0xFFFF, 0xFFFF], Width::W16);
    assert_eq!(short.parts().len(), 1);
}

/// Eon 1C is in bank 2, where bank 1 has Mitsubishi.
#[test]
fn banks() {
    let catalogue = built_in();
    let eon = MakerId::from_reads(&[0x7F, 0x1C]).unwrap();
    let found = catalogue.identify(eon, &[0x22EA], Width::W16);
    assert_eq!(found.to_string(), "EN29SL800BT");
    let plain = MakerId::from_reads(&[0x1C]).unwrap();
    assert_eq!(catalogue.identify(plain, &[0x22EA], Width::W16), found, "7F was not shown");
    let other = MakerId { bank: 3, code: 0x1C };
    assert!(catalogue.identify(other, &[0x22EA], Width::W16).parts().is_empty());
}

/// M29W160DB answered 0049 where the table has 2249.
#[test]
fn an_upper_byte_of_zero() {
    let catalogue = built_in();
    let identity = catalogue.identify(maker(0x20), &[0x0049], Width::W16);
    assert_eq!(identity.to_string(), "M29W160DB/EB");
    assert!(catalogue.identify(maker(0x20), &[0x2149], Width::W16).parts().is_empty());
}

#[test]
fn two_parts_with_one_id_are_both_named() {
    let catalogue = built_in();
    let identity = catalogue.identify(maker(0x01), &[0x22B9], Width::W16);
    assert_eq!(identity.to_string(), "one of Am29LV400BT, S29AL004D T");
    let geometry = settle(None, &identity).unwrap();
    assert_eq!((geometry.boot, geometry.doubt), (Boot::Top, None), "they agree on sectors");
}

#[test]
fn parts_that_say_less() {
    let catalogue = built_in();
    let by_name = |name: &str| -> &Part {
        catalogue.parts().iter().find(|part| part.name.starts_with(name)).unwrap()
    };
    assert_eq!(by_name("LH28F400").geometry.doubt, Some(Doubt::NoSectors));
    assert_eq!(by_name("LH28F640BF").geometry.boot, Boot::Unknown);
    assert_eq!(by_name("28F010 ").geometry.doubt, Some(Doubt::OnlyWhole));
    assert_eq!(by_name("AT49BV16XT").unlock, Unlock::Unsure);
    assert_eq!(by_name("Am29F010/B").unlock, Unlock::Long);
    assert_eq!(by_name("Am29LV160DT").unlock, Unlock::Short);
    assert_eq!(by_name("MBM29LV650UE").unlock, Unlock::Any);
    assert_eq!(by_name("uPD29F064115").geometry.boot, Boot::Dual);
    assert_eq!(by_name("uPD29F064115").cfi, None);
    assert!(by_name("A29040").maker.bank == 2 && by_name("Am29F002B").is_from_memory());
    assert!(!by_name("Am29F002T").is_from_memory());
}

#[test]
fn a_users_file_adds_to_the_table() {
    let mut catalogue = built_in();
    assert_eq!(catalogue.add("mine.toml", GOOD), Ok(1));
    let identity = catalogue.identify(maker(0x52), &[0xD3], Width::W8);
    let Identity::One(part) = identity else { panic!("{identity}") };
    assert_eq!((part.name.as_str(), part.file.as_str()), ("Tern 8M", "mine.toml"));
    assert_eq!(listed(&part.geometry.regions), "1 x 16K, 2 x 8K, 1 x 32K, 15 x 64K");
    assert_eq!((part.geometry.boot, part.unlock), (Boot::Bottom, Unlock::Short));
    assert_eq!(part.times.word.unwrap().most, Some(Nanos::from_micros(300)));
    assert_eq!(part.times.sector.unwrap().typical, Nanos::from_millis(700));
    assert_eq!((part.times.chip, part.cfi, part.vpp), (None, Some(false), None));
    assert_eq!(part.vcc.unwrap().least, Millivolts(2700));
    // The same ids as a built-in part, but other sectors: both are named, neither is trusted.
    let other = GOOD.replace("0x52", "0x01").replace("0x22D3", "0x22DA");
    assert_eq!(catalogue.add("mine.toml", &other), Ok(1));
    let both = catalogue.identify(maker(0x01), &[0x22DA], Width::W16);
    assert_eq!(both.to_string(), "one of Am29LV800BT, Tern 8M");
    let geometry = settle(None, &both).unwrap();
    assert!(matches!(geometry.doubt, Some(Doubt::PartsDiffer(_))), "{geometry}");
    assert_eq!(catalogue.add("empty.toml", ""), Ok(0));
}

/// Each change of the good file with the error it must give.
#[test]
fn refusals_name_place_and_remedy() {
    let cases = [
        ("name = \"Tern 8M\"\n", "", "x.toml:1: chip: missing field `name`; every chip is"),
        (
            "name = \"Tern 8M\"",
            "name = \"\\u001b[2J\"",
            "x.toml:2: name: expected 1 to 64 characters, no control characters, no blanks at the ends, got \\u{1b}[2J; correct the value",
        ),
        (
            "maker = 0x52",
            "maker = 0x53",
            "x.toml:3: maker: expected the maker byte as read, with odd parity and not 7F, got 0x53",
        ),
        ("maker = 0x52", "maker = 0x7F", "x.toml:3: maker: expected the maker byte"),
        (
            "maker = 0x52",
            "maker = 300",
            "x.toml:3: maker: invalid value: integer `300`, expected u8",
        ),
        (
            "maker = 0x52",
            "maker = 0x52\nbank = 0",
            "x.toml:4: bank: expected a bank of JEP106, from 1, got 0",
        ),
        (
            "[0x22D3]",
            "[0x22D3, 1]",
            "x.toml:4: device: expected a list of one id or three, bytes on an x8 bus, got 0x22D3, 0x01",
        ),
        ("\"x8/x16\"", "\"x8\"", "x.toml:4: device: expected a list of one id or three"),
        (
            "\"x8/x16\"",
            "\"x9\"",
            "x.toml:5: bus: unknown variant `x9`, expected one of `x8`, `x16`, `x8/x16`",
        ),
        (
            "\"1M\"",
            "\"1 MB\"",
            "x.toml:6: size: expected bytes, such as \"64K\" or \"2M\", at most 64 GiB, got 1 MB",
        ),
        (
            "\"1M\"",
            "\"2M\"",
            "x.toml:7: sectors: expected sectors that sum up to `size`, 2097152 bytes, got 1048576 bytes; correct `size` or `sectors`",
        ),
        ("1 x 16K,", "1 by 16K,", "x.toml:7: sectors: expected sectors from the lowest address"),
        (
            "family",
            "blocks = \"64K\"\nfamily",
            "x.toml:8: blocks: expected no `blocks` where sectors differ",
        ),
        ("\"amd\"", "\"other\"", "x.toml:8: family: unknown variant `other`"),
        ("family", "fmaily", "x.toml:8: fmaily: unknown field `fmaily`"),
        (
            "[2700, 3600]",
            "[3600, 2700]",
            "x.toml:10: vcc_mv: expected the lowest and the highest voltage in millivolts, got 3600, 2700",
        ),
        (
            "[9, 300]",
            "[9, 3]",
            "x.toml:11: times.word_us: expected the typical and the longest time, got 9, 3",
        ),
        (
            "source = \"datasheet Tern 8M p4\"",
            "source = \"\"",
            "x.toml:12: source: expected 1 to 400 characters",
        ),
        ("[[chip]]", "[[chip]", "x.toml:1: chip: "),
    ];
    for (from, to, wanted) in cases {
        let text = GOOD.replacen(from, to, 1);
        assert_ne!(text, GOOD, "{from}");
        let error = Catalogue::default().add("x.toml", &text).unwrap_err().to_string();
        assert!(error.starts_with(wanted), "{from} -> {to}\n  {error}\n  wanted {wanted}");
    }
    let twice = format!("{GOOD}{GOOD}");
    let error = Catalogue::default().add("x.toml", &twice).unwrap_err().to_string();
    assert_eq!(
        error,
        "x.toml:14: name: `Tern 8M` stands already in line 2; rename or remove one of the two"
    );
    let long = "#".repeat(600_000);
    let error = Catalogue::default().add("x.toml", &long).unwrap_err();
    assert!(matches!(*error.fault, ChipFault::TooLong { .. }), "{error}");
}

#[test]
fn a_refused_file_adds_nothing() {
    let mut catalogue = Catalogue::default();
    let second = GOOD.replace("Tern 8M\"", "Tern\"").replace("\"1M\"", "\"2M\"");
    let error: ChipFileError = catalogue.add("x.toml", &format!("{GOOD}{second}")).unwrap_err();
    assert_eq!((error.file.as_str(), error.line, error.key.as_str()), ("x.toml", 19, "sectors"));
    assert!(catalogue.parts().is_empty());
}

#[test]
fn blocks_over_equal_sectors() {
    let whole = GOOD.replace("1 x 16K, 2 x 8K, 1 x 32K, 15 x 64K", "256 x 4K");
    let with = |blocks: &str| whole.replace("family", &format!("blocks = \"{blocks}\"\nfamily"));
    let mut catalogue = Catalogue::default();
    catalogue.add("x.toml", &with("64K")).unwrap();
    let geometry = &catalogue.parts()[0].geometry;
    assert_eq!(geometry.to_string(), "1M bytes, 256 x 4K (also 16 x 64K), uniform");
    for wrong in ["4K", "6K", "768K"] {
        assert!(Catalogue::default().add("x.toml", &with(wrong)).is_err(), "{wrong}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// No text makes the reading panic, and every error names a line of the file.
    #[test]
    fn mutated_files(
        edits in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..24, "\\PC{0,3}|[\"=\\[\\]{}0-9xKM,\n\u{1b}]{0,6}"), 1..6),
    ) {
        let mut chars: Vec<char> = GOOD.chars().collect();
        for (at, removed, added) in edits {
            let start = at.index(chars.len() + 1);
            let end = (start + removed).min(chars.len());
            chars.splice(start..end, added.chars());
        }
        let text: String = chars.into_iter().collect();
        if let Err(error) = Catalogue::default().add("x", &text) {
            let lines = text.bytes().filter(|byte| *byte == b'\n').count() + 1;
            prop_assert!((1..=lines).contains(&error.line), "{}", error);
            prop_assert!(!error.to_string().contains('\u{1b}'), "{}", error);
        }
    }

    #[test]
    fn random_ids(
        code in any::<u8>(),
        bank in 1_u8..9,
        device in prop::collection::vec(any::<u16>(), 0..5),
        width in prop::sample::select(vec![Width::W8, Width::W16, Width::W32]),
    ) {
        static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(built_in);
        let identity = CATALOGUE.identify(MakerId { bank, code }, &device, width);
        prop_assert!(!identity.to_string().is_empty());
        for part in identity.parts() {
            prop_assert_eq!(part.maker.code, code);
        }
    }
}

/// `docs/sheets.md` names every key of a chip file, and no other; its example is good.
#[test]
fn the_text_on_chip_files_knows_the_same_keys() {
    use super::row::{Row, TimesRow};
    const TEXT: &str = include_str!("../../../docs/sheets.md");
    let below = |heading: &str| -> BTreeSet<String> {
        let lines = TEXT.lines().skip_while(|line| *line != heading).skip(1);
        let rows = lines.take_while(|line| !line.starts_with('#'));
        rows.filter_map(|row| Some(row.strip_prefix("| `")?.split('`').next()?.to_owned()))
            .collect()
    };
    // A wrong key is answered with all that are right: "unknown field `?`, expected one of `a`, ..."
    let known = |error: Option<toml::de::Error>| -> BTreeSet<String> {
        let said = error.unwrap().message().to_owned();
        said.split('`').skip(3).step_by(2).map(str::to_owned).collect()
    };
    assert_eq!(below("## A part: `[[chip]]`"), known(toml::from_str::<Row>("no = 1").err()));
    assert_eq!(below("### `times`"), known(toml::from_str::<TimesRow>("no = 1").err()));
    let example = TEXT.split("```toml\n").find(|text| text.starts_with("[[chip]]")).unwrap();
    let mut catalogue = Catalogue::default();
    assert_eq!(catalogue.add("docs/sheets.md", example.split("```").next().unwrap()), Ok(1));
}
