//! Query table and part list together, where they agree and where they do not.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use super::cfi::Query;
use super::*;
use crate::bus::Width;

/// A part of 2 MiB as the list of an Am29LV160D shows it; version 1.`minor`, boot flag `flag`.
fn table(minor: u8, flag: u8) -> Cfi {
    let mut bytes = vec![0; 0x50 - 0x10];
    bytes[..0x19].copy_from_slice(&[
        0x51, 0x52, 0x59, 2, 0, 0x40, 0, 0, 0, 0, 0, 0x27, 0x36, 0, 0, 4, 0, 0xA, 0, 5, 0, 4, 0,
        0x15, 2,
    ]);
    bytes[0x1C..0x2D]
        .copy_from_slice(&[4, 0, 0, 0x40, 0, 1, 0, 0x20, 0, 0, 0, 0x80, 0, 0x1E, 0, 0, 1]);
    bytes[0x30..0x3A].copy_from_slice(&[b'P', b'R', b'I', b'1', b'0' + minor, 0, 2, 1, 1, 4]);
    bytes[0x3F] = flag;
    Cfi::decode(&Query::new(bytes), None).unwrap()
}

fn settled(cfi: Option<&Cfi>, maker: u8, device: &[u16]) -> Option<Geometry> {
    let catalogue = Catalogue::built_in().unwrap();
    let identity = catalogue.identify(MakerId { bank: 1, code: maker }, device, Width::W16);
    settle(cfi, &identity)
}

#[test]
fn an_exact_id_decides_what_the_table_cannot() {
    let old = table(0, 0);
    let top = settled(Some(&old), 0x01, &[0x22C4]).unwrap();
    assert_eq!(top.to_string(), "2M bytes, 31 x 64K, 1 x 32K, 2 x 8K, 1 x 16K, top boot");
    assert_eq!(settled(Some(&old), 0x01, &[0x2249]).unwrap().boot, Boot::Bottom);
    // An unknown chip keeps its doubt, and so does one without an id.
    let unknown = settled(Some(&old), 0x43, &[0x22C4]).unwrap();
    assert!(matches!(unknown.doubt, Some(Doubt::OrderUnknown(_))), "{unknown}");
}

#[test]
fn a_table_against_the_part_list_is_not_trusted() {
    // The flag says bottom, the id is that of the top-boot part.
    let flagged = table(1, 2);
    let geometry = settled(Some(&flagged), 0x01, &[0x22C4]).unwrap();
    assert_eq!(
        geometry.doubt.unwrap().to_string(),
        "the chip's query table says 2M as 1 x 16K, 2 x 8K, 1 x 32K, 31 x 64K, the part list says \
         2M as 31 x 64K, 1 x 32K, 2 x 8K, 1 x 16K for Am29LV160DT / S29AL016D-01"
    );
    assert_eq!(geometry.boot, Boot::Unknown);
    // Another size, also where the table could not tell its order.
    for cfi in [table(0, 0), table(1, 3)] {
        let geometry = settled(Some(&cfi), 0x01, &[0x22DA]).unwrap();
        assert!(matches!(geometry.doubt, Some(Doubt::IdDisagrees { .. })), "{geometry}");
    }
    let agreeing = settled(Some(&table(1, 3)), 0x01, &[0x22C4]).unwrap();
    assert_eq!((agreeing.boot, agreeing.doubt), (Boot::Top, None));
}

#[test]
fn a_part_whose_id_hides_its_boot_end_settles_nothing() {
    let hidden = settled(None, 0xB0, &[0x00B0]).unwrap();
    assert_eq!(hidden.doubt, Some(Doubt::NoSectors));
    assert_eq!(hidden.size_bytes, 8 << 20);
    // Three-cycle ids that were not read whole: parts of several sizes.
    assert_eq!(settled(None, 0x01, &[0x227E]), None);
}

#[test]
fn an_inconsistent_table_stays_so_with_any_id() {
    let mut cfi = table(1, 3);
    cfi.size_bytes *= 2;
    for device in [0x22C4, 0x1111] {
        let geometry = settled(Some(&cfi), 0x01, &[device]).unwrap();
        assert!(matches!(geometry.doubt, Some(Doubt::Inconsistent { .. })), "{geometry}");
    }
}
