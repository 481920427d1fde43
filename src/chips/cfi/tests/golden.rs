//! Published tables decode to what is published with them.
//!
//! `tests/data/cfi/` keeps each table with its source, what was checked against what, and three
//! sets of values: those stated beside it, those computed from its bytes by other code, and what
//! geometry must come out alone and with which ids.

use crate::bus::{Millivolts, Nanos, Width};
use crate::chips::cfi::{Cfi, CfiError, Primary, Query, Time, Volts, volts};
use crate::chips::geometry::{listed, total};
use crate::chips::{Boot, Catalogue, Doubt, Geometry, MakerId, settle};
use serde::Deserialize;

macro_rules! files {
    ($($name:literal)*) => {
        &[$(($name, include_str!(concat!("../../../../tests/data/cfi/", $name, ".toml")))),*]
    };
}

const FILES: &[(&str, &str)] = files![
    "28f128j3c" "28f160c3b" "28f160s3" "28f256j3c" "28f320c3b" "28f320c3t" "28f320j3a"
    "28f320j3c" "28f640j3a" "28f640j3c" "am29f016d" "am29lv033c" "am29lv160d" "am29lv160mb"
    "am29lv640d" "am29sl160ct" "inconsistent" "m29w160db" "s29al008j" "s29gl064a"
    "s29gl064n-m04"
];

/// Tables of which a datasheet page shows only the start.
const PARTIAL: &[(&str, &str)] =
    files!["28f128p30-partial" "k8s1215e-partial" "mx29lv400c-partial"];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Golden {
    name: String,
    source: String,
    cross_check: Option<String>,
    #[allow(dead_code, reason = "for readers of the file")]
    note: Option<String>,
    hex: String,
    stated: Stated,
    decoded: Option<Decoded>,
    expect: Option<Expect>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Stated {
    #[allow(dead_code, reason = "for readers of the file")]
    organisation: String,
    #[allow(dead_code, reason = "for readers of the file")]
    boot: String,
    size: u64,
    sectors: Option<String>,
    vcc: Option<String>,
    write_buffer: Option<u32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Decoded {
    command_set: u16,
    primary_at: u16,
    interface: u16,
    vcc: String,
    vpp: String,
    word_us: [u64; 2],
    buffer_us: [u64; 2],
    sector_ms: [u64; 2],
    chip_ms: [u64; 2],
    buffer_bytes: Option<u32>,
    listed: String,
    listed_sum: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expect {
    boot: String,
    #[serde(default)]
    with: Vec<With>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct With {
    maker: u8,
    device: Vec<u16>,
    width: u32,
    boot: String,
}

fn read(text: &str) -> (Golden, Query) {
    let golden: Golden = toml::from_str(text).unwrap();
    let byte = |hex: &str| u8::from_str_radix(hex, 16).unwrap();
    let query = Query::new(golden.hex.split_whitespace().map(byte).collect::<Vec<_>>());
    (golden, query)
}

fn range(volts: Option<Volts>) -> String {
    let zero = Volts { least: Millivolts(0), most: Millivolts(0) };
    let volts = volts.unwrap_or(zero);
    let one = |volts: Millivolts| format!("{}.{}", volts.0 / 1000, volts.0 % 1000 / 100);
    format!("{}-{}", one(volts.least), one(volts.most))
}

fn time(unit: fn(u64) -> Nanos, [typical, most]: [u64; 2]) -> Option<Time> {
    let most = (most > 0).then(|| unit(most));
    (typical > 0).then(|| Time { typical: unit(typical), most })
}

fn word(boot: Boot) -> &'static str {
    match boot {
        Boot::Top => "top",
        Boot::Bottom => "bottom",
        Boot::Uniform => "uniform",
        Boot::Dual => "dual",
        Boot::Unknown => "unknown",
    }
}

#[test]
fn every_field_is_as_other_code_has_it() {
    for (file, text) in FILES {
        let (golden, query) = read(text);
        let cfi = Cfi::decode(&query, None).unwrap();
        let wanted = golden.decoded.unwrap();
        assert_eq!(cfi.command_set.0, wanted.command_set, "{file}");
        assert_eq!(cfi.primary_at, wanted.primary_at, "{file}");
        assert_eq!(cfi.interface, crate::chips::cfi::Interface::of(wanted.interface), "{file}");
        assert_eq!(range(Some(cfi.vcc)), wanted.vcc, "{file}");
        assert_eq!(range(cfi.vpp), wanted.vpp, "{file}");
        let (us, ms) = (Nanos::from_micros, Nanos::from_millis);
        assert_eq!(cfi.times.word, time(us, wanted.word_us), "{file}");
        assert_eq!(cfi.times.buffer, time(us, wanted.buffer_us), "{file}");
        assert_eq!(cfi.times.sector, time(ms, wanted.sector_ms), "{file}");
        assert_eq!(cfi.times.chip, time(ms, wanted.chip_ms), "{file}");
        assert_eq!(cfi.write_buffer, wanted.buffer_bytes, "{file}");
        assert_eq!(listed(&cfi.listed), wanted.listed, "{file}");
        assert_eq!(total(&cfi.listed), wanted.listed_sum, "{file}");
    }
}

#[test]
fn every_table_is_as_stated_beside_it() {
    for (file, text) in FILES {
        let (golden, query) = read(text);
        assert!(!golden.name.is_empty() && !golden.source.is_empty(), "{file}");
        assert!(golden.cross_check.is_none_or(|text| !text.is_empty()), "{file}");
        let cfi = Cfi::decode(&query, None).unwrap();
        assert_eq!(cfi.size_bytes, golden.stated.size, "{file}");
        if let Some(buffer) = golden.stated.write_buffer {
            assert_eq!(cfi.write_buffer, Some(buffer), "{file}");
        }
        if let Some(vcc) = golden.stated.vcc {
            assert!(vcc.starts_with(&range(Some(cfi.vcc))), "{file}: {vcc}");
        }
        // What is stated is in address order; the table alone may not be able to tell.
        let sectors = golden.stated.sectors.unwrap();
        let geometry = cfi.geometry();
        let mut regions = geometry.regions.clone();
        if listed(&regions) != sectors {
            assert!(matches!(geometry.doubt, Some(Doubt::OrderUnknown(_))), "{file}: {geometry}");
            regions.reverse();
        }
        assert_eq!(listed(&regions), sectors, "{file}");
    }
}

#[test]
fn the_table_alone_and_with_ids() {
    let catalogue = Catalogue::built_in().unwrap();
    let mut settled = 0;
    for (file, text) in FILES {
        let (golden, query) = read(text);
        let cfi = Cfi::decode(&query, None).unwrap();
        let (alone, expect) = (cfi.geometry(), golden.expect.unwrap());
        match expect.boot.as_str() {
            "unknown" => assert!(matches!(alone.doubt, Some(Doubt::OrderUnknown(_))), "{file}"),
            "inconsistent" => {
                let sum = 134_217_728;
                let doubt = Doubt::Inconsistent { size_bytes: golden.stated.size, sum };
                assert_eq!(alone.doubt, Some(doubt), "{file}");
            }
            known => assert_eq!((word(alone.boot), &alone.doubt), (known, &None), "{file}"),
        }
        for with in expect.with {
            let maker = MakerId { bank: 1, code: with.maker };
            let width = Width::from_bits(with.width).unwrap();
            let identity = catalogue.identify(maker, &with.device, width);
            let geometry = settle(Some(&cfi), &identity).unwrap();
            assert_eq!(geometry.doubt, None, "{file}: {identity}");
            assert_eq!(word(geometry.boot), with.boot, "{file}: {identity}");
            assert_eq!(Boot::of(&geometry.regions), geometry.boot, "{file}");
            settled += 1;
        }
    }
    assert!(settled >= 20, "only {settled} ids stand in the files");
}

#[test]
fn extended_tables_are_read_except_the_one_that_is_not_there() {
    for (file, text) in FILES {
        let cfi = Cfi::decode(&read(text).1, None).unwrap();
        match (&cfi.primary, *file) {
            (Primary::Unread(error), "s29gl064n-m04") => assert_eq!(error.offset(), 0x3D),
            (Primary::Amd(_), _) => assert_eq!(cfi.command_set.0, 2, "{file}"),
            (Primary::Intel(_), _) => assert!([1, 3].contains(&cfi.command_set.0), "{file}"),
            other => panic!("{file}: {other:?}"),
        }
    }
}

#[test]
fn printed_starts_of_tables() {
    for (file, text) in PARTIAL {
        let (golden, query) = read(text);
        let error = Cfi::decode(&query, None).unwrap_err();
        assert!(matches!(error, CfiError::Short { .. }), "{file}: {error}");
        assert_eq!(usize::from(error.offset()), 0x10 + query.bytes().len(), "{file}");
        let (vcc, stated) = (volts::vcc(&query).unwrap(), golden.stated.vcc.unwrap());
        let wanted = stated.split_once('-').map(|(least, _)| least.to_owned());
        assert_eq!(range(Some(vcc)).split_once('-').map(|(a, _)| a.to_owned()), wanted, "{file}");
    }
}

#[test]
fn a_part_without_a_table_goes_by_its_ids() {
    let error = Cfi::decode(&Query::new([0xFF; 0x30]), None).unwrap_err();
    assert_eq!(
        error.to_string(),
        "offset 0x10: expected 51 52 59 ('QRY'), got FF FF FF; the chip may be older than query \
         tables: go by its ids"
    );
    let nothing = Cfi::decode(&Query::new([]), None).unwrap_err();
    assert_eq!(nothing, CfiError::NoQuery { got: Vec::new() });
    assert!(nothing.to_string().contains("got nothing"));
    let catalogue = Catalogue::built_in().unwrap();
    let maker = MakerId { bank: 1, code: 0x01 };
    let identity = catalogue.identify(maker, &[0xA4], Width::W8);
    let geometry: Option<Geometry> = settle(None, &identity);
    assert_eq!(geometry.unwrap().to_string(), "512K bytes, 8 x 64K, uniform");
}
