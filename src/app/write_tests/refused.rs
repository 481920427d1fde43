//! Chips that are not written here, and why.

use super::{Rig, Setup};
use crate::bus::Lane;
use crate::chips::write::WhyNot;
use crate::chips::{Abilities, Catalogue, Unlock, Way, Wiring};
use crate::chips::{Doubt, Family, Geometry, Region, write};

/// What `Abilities::of` says of the findings of a rig after `edit`.
fn of(
    rig: &mut Rig,
    catalogue: &Catalogue,
    edit: impl FnOnce(&mut Rig, &mut Vec<Wiring>, &mut Way),
) -> Result<Abilities, WhyNot> {
    let (mut chips, mut way) = (rig.writing.chips.clone(), rig.writing.way);
    edit(rig, &mut chips, &mut way);
    Abilities::of(&rig.findings, catalogue, &chips, way)
}

#[test]
fn chips_that_differ_or_are_not_known_are_refused() {
    let catalogue = Catalogue::built_in().unwrap();
    let rig = || Rig::new(&Setup::new("Am29LV040B", 8, 2));
    let good = of(&mut rig(), &catalogue, |_, _, _| ());
    assert!(good.is_ok_and(|abilities| abilities.bypass));
    let no_chips = of(&mut rig(), &catalogue, |_, chips, _| chips.clear());
    assert_eq!(no_chips, Err(WhyNot::NoChips { chips: 0, findings: 2 }));
    let unsure = of(&mut rig(), &catalogue, |_, _, way| way.unlock = Unlock::Unsure);
    assert_eq!(unsure, Err(WhyNot::UnlockUnsure));
    let other = of(&mut rig(), &catalogue, |_, _, way| {
        *way = Way { family: Family::Jedec, unlock: Unlock::Long, ..*way };
    });
    let said = other.unwrap_err().to_string();
    assert!(said.contains("chip 0 follows amd commands") && said.contains("jedec"), "{said}");
    let lane = of(&mut rig(), &catalogue, |_, chips, _| {
        chips[1] = Wiring::straight(Lane { first: 4, bits: 8 });
    });
    assert_eq!(lane, Err(WhyNot::Lane { chip: 1 }));
    let lines = of(&mut rig(), &catalogue, |_, chips, _| {
        chips[1] = Wiring::new(Lane { first: 8, bits: 8 }, Vec::new(), vec![1, 0]);
    });
    assert!(matches!(lines, Err(WhyNot::ChipsDiffer { chip: 1, .. })), "{lines:?}");
    let silent = of(&mut rig(), &catalogue, |rig, _, _| {
        rig.findings[1].ids = rig.findings[1].before.clone();
    });
    assert_eq!(silent, Err(WhyNot::NoCommands { chip: 1 }));
    // An Am29F040B beside it: the same sectors, but no unlock bypass.
    let mixed = of(&mut rig(), &catalogue, |rig, _, _| rig.findings[1].ids[1] = 0xA4);
    assert!(mixed.is_ok_and(|abilities| !abilities.bypass));
    // An Am29F016D beside it: other sectors.
    let larger = of(&mut rig(), &catalogue, |rig, _, _| rig.findings[1].ids[1] = 0xAD);
    assert_eq!(larger, Err(WhyNot::ChipsDiffer { chip: 1, what: "their sectors" }));
}

#[test]
fn high_voltages_wrong_tables_and_unknown_pages_are_refused() {
    let catalogue = Catalogue::built_in().unwrap();
    let mut rig = Rig::new(&Setup::new("28F320J3A", 8, 1));
    // 28F008SA, which needs 12 V.
    let high = of(&mut rig, &catalogue, |rig, _, _| {
        (rig.findings[0].ids[1], rig.findings[0].cfi) = (0xA2, None);
    });
    assert!(matches!(high, Err(WhyNot::HighVoltage { chip: 0, mv: 12_000, .. })), "{high:?}");
    let mut rig = Rig::new(&Setup::new("28F320J3A", 16, 1));
    let table = of(&mut rig, &catalogue, |rig, _, _| {
        let query = crate::chips::cfi::Query::new(*b"QRY");
        rig.findings[0].cfi = Some(crate::chips::Cfi::decode(&query, None));
    });
    assert!(matches!(table, Err(WhyNot::Table { chip: 0, .. })), "{table:?}");
    let mut rig = Rig::new(&Setup::new("AT29C040A", 8, 1));
    let mut own = Catalogue::default();
    let row = "[[chip]]\nname = \"P\"\nmaker = 0x1F\ndevice = [0xA4]\nbus = \"x8\"\nsize = \"512K\"\n\
               sectors = \"2048 x 256\"\nfamily = \"page\"\nsource = \"made up\"\n";
    own.add("x.toml", row).unwrap();
    assert_eq!(of(&mut rig, &own, |_, _, _| ()), Err(WhyNot::NoPage { chip: 0 }));
    let mut order: Vec<u8> = (0..19).collect();
    order.swap(3, 12);
    let scrambled = of(&mut rig, &catalogue, |_, chips, _| {
        chips[0] = Wiring::new(Lane { first: 0, bits: 8 }, Vec::new(), order);
    });
    assert_eq!(scrambled, Err(WhyNot::PageScrambled));
}

#[test]
fn tables_and_families_give_times() {
    let abilities = |chip, bits| Rig::new(&Setup::new(chip, bits, 1)).writing.abilities;
    // CFI 1F=07 23=03, 20=07 24=05, 21=0A 25=04, 2A=05.
    let gl = abilities("S29GL064N", 16);
    assert_eq!((gl.program_us, gl.buffer_us), ((128, 1024), (128, 4096)));
    assert_eq!((gl.erase_ms, gl.buffer_words), ((1024, 20_480), Some(16)));
    assert_eq!(abilities("S29GL064N", 8).buffer_words, Some(32));
    // No table: Am29LV040B p31, a quarter more than the longest erase.
    let lv = abilities("Am29LV040B", 8);
    assert_eq!((lv.program_us, lv.erase_ms), ((9, 300), (700, 18_750)));
    assert_eq!((lv.buffer_words, lv.page_words, lv.bypass), (None, None, true));
    let page = abilities("AT29C040A", 8);
    assert_eq!((page.page_words, page.program_us), (Some(256), (10_000, 20_000)));
    assert!(!abilities("SST39VF040", 8).bypass);
}

#[test]
fn sectors_in_doubt_or_torn_apart_are_refused() {
    let rig = Rig::new(&Setup::new("S29AL008J", 16, 2));
    let (way, chips) = (rig.writing.way, &rig.writing.chips);
    let sectors = rig.sectors();
    assert_eq!(
        sectors[..5],
        [(0, 0x2000), (0x2000, 0x1000), (0x3000, 0x1000), (0x4000, 0x4000), (0x8000, 0x8000)]
    );
    assert_eq!((sectors.len(), sectors[18]), (19, (0x7_8000, 0x8000)));
    let doubt = Geometry::whole(0x10_0000);
    let whole = write::sectors(&doubt, way, chips);
    assert_eq!(whole, Err(WhyNot::Doubt(Doubt::OnlyWhole)));
    let odd = Geometry::in_order(0x9000, vec![Region { count: 3, bytes: 0x3000 }]);
    assert_eq!(write::sectors(&odd, way, chips), Err(WhyNot::SectorSize(0x3000)));
    // A12 and A18 of the chip are swapped: sectors of 0x1000 words stay whole, larger ones do not.
    let mut order: Vec<u8> = (0..19).collect();
    order.swap(12, 18);
    let torn = vec![Wiring::new(chips[0].lane(), Vec::new(), order)];
    assert_eq!(write::sectors(&rig.geometry, way, &torn), Err(WhyNot::SectorScrambled));
    let even = Geometry::in_order(0x8000, vec![Region { count: 4, bytes: 0x2000 }]);
    let swapped = write::sectors(&even, way, &torn).unwrap();
    assert_eq!(swapped, [(0, 0x1000), (0x2000, 0x1000), (0x4_0000, 0x1000), (0x4_2000, 0x1000)]);
}
