//! Tables that mislead.

use super::{Table, boot_part, region};
use crate::bus::Width;
use crate::chips::geometry::listed;
use crate::chips::{Boot, Catalogue, CfiError, Doubt, Family, MakerId, OrderDoubt, settle};

fn order_doubt(table: &Table) -> Option<OrderDoubt> {
    match table.decode().unwrap().geometry().doubt {
        Some(Doubt::OrderUnknown(doubt)) => Some(doubt),
        None => None,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_top_boot_flag_turns_the_list_round() {
    let top = Table::new(0x15, &boot_part()).amd(1, 3).decode().unwrap();
    assert_eq!(listed(&top.listed), "8 x 8K, 31 x 64K");
    assert_eq!(top.geometry().to_string(), "2M bytes, 31 x 64K, 8 x 8K, top boot");
    let bottom = Table::new(0x15, &boot_part()).amd(1, 2).decode().unwrap().geometry();
    assert_eq!((bottom.boot, bottom.doubt), (Boot::Bottom, None));
}

#[test]
fn flags_that_cannot_be_trusted_leave_the_order_open() {
    let table = Table::new(0x15, &boot_part());
    let old = order_doubt(&table.clone().amd(0, 3));
    assert_eq!(old, Some(OrderDoubt::TooOld { major: 1, minor: 0 }));
    assert_eq!(order_doubt(&table.clone().amd(3, 0)), Some(OrderDoubt::Flag(0)));
    assert_eq!(order_doubt(&table), Some(OrderDoubt::NoTable), "no 'PRI'");
    let turned = Table::new(0x15, &[boot_part()[1], boot_part()[0]]);
    assert_eq!(order_doubt(&turned.clone().amd(1, 3)), Some(OrderDoubt::FlagAgainstList(3)));
    assert_eq!(order_doubt(&turned.amd(1, 2)), Some(OrderDoubt::FlagAgainstList(2)));
    let mut foreign = table.amd(1, 3);
    foreign.set(0x13, &[0x20]);
    assert_eq!(order_doubt(&foreign), Some(OrderDoubt::CommandSet));
    assert_eq!(foreign.decode().unwrap().family(), None);
}

#[test]
fn an_open_order_names_itself_and_keeps_the_list() {
    let geometry = Table::new(0x15, &boot_part()).amd(0, 2).decode().unwrap().geometry();
    assert_eq!((geometry.boot, geometry.regions.as_slice()), (Boot::Unknown, &boot_part()[..]));
    assert_eq!(
        geometry.to_string(),
        "2M bytes, 8 x 8K, 31 x 64K, boot end unknown; no sector erase: the sectors may lie in \
         the listed or in the reverse order (extended table 1.0, before 1.1, has no boot flag to \
         trust); only an exact id can tell"
    );
}

/// A list that reads the same from both ends has no order to get wrong.
#[test]
fn symmetrical_lists_need_no_flag() {
    let regions = [region(8, 0x2000), region(126, 0x1_0000), region(8, 0x2000)];
    let dual = Table::new(0x17, &regions).amd(0, 0).decode().unwrap().geometry();
    assert_eq!((dual.boot, dual.doubt), (Boot::Dual, None));
    let uniform = Table::new(0x15, &[region(32, 0x1_0000)]).decode().unwrap().geometry();
    assert_eq!((uniform.boot, uniform.doubt), (Boot::Uniform, None));
}

/// SST39VF1601: 4K sectors and 64K blocks over the same 2 MiB (geometry: Linux `jedec_probe.c`).
#[test]
fn two_regions_that_each_fill_the_chip() {
    let (sectors, blocks) = (region(512, 0x1000), region(32, 0x1_0000));
    for list in [[sectors, blocks], [blocks, sectors]] {
        let mut table = Table::new(0x15, &list);
        table.set(0x13, &[0x01, 0x07]);
        let cfi = table.decode().unwrap();
        let geometry = cfi.geometry();
        assert_eq!(geometry.to_string(), "2M bytes, 512 x 4K (also 32 x 64K), uniform");
        assert_eq!(cfi.family(), Some(Family::Jedec));
        let catalogue = Catalogue::built_in().unwrap();
        let maker = MakerId { bank: 1, code: 0xBF };
        let identity = catalogue.identify(maker, &[0x234B], Width::W16);
        assert_eq!(settle(Some(&cfi), &identity), Some(geometry));
    }
    let same = Table::new(0x15, &[sectors, sectors]).decode().unwrap().geometry();
    assert_eq!(same.doubt, Some(Doubt::Inconsistent { size_bytes: 1 << 21, sum: 1 << 22 }));
}

#[test]
fn sectors_that_do_not_fill_the_chip() {
    let geometry = Table::new(0x16, &boot_part()).amd(1, 2).decode().unwrap().geometry();
    assert_eq!(geometry.doubt, Some(Doubt::Inconsistent { size_bytes: 1 << 22, sum: 1 << 21 }));
    assert_eq!(geometry.boot, Boot::Unknown);
}

/// MBM29LV650UE: 2A is 05, 20 is 00.
#[test]
fn a_buffer_without_a_time_is_none() {
    let mut table = Table::new(0x15, &boot_part());
    table.set(0x2A, &[5]);
    assert_eq!(table.decode().unwrap().write_buffer, None);
    table.set(0x20, &[7]);
    assert_eq!(table.decode().unwrap().write_buffer, Some(32));
    table.set(0x2A, &[0]);
    assert_eq!(table.decode().unwrap().write_buffer, None);
}

#[test]
fn no_regions_means_only_the_whole_chip() {
    let geometry = Table::new(0x15, &[]).decode().unwrap().geometry();
    assert_eq!(geometry.doubt, Some(Doubt::OnlyWhole));
    assert_eq!((geometry.sectors(), geometry.size_bytes), (1, 1 << 21));
}

#[test]
fn values_that_mean_nothing_are_refused_with_their_place() {
    let wrong: [(u16, &[u8]); 7] = [
        (0x1B, &[0xA7]),
        (0x1D, &[0xBF, 0xC5]),
        (0x1F, &[0x19]),
        (0x23, &[0x10]),
        (0x27, &[0x25]),
        (0x27, &[0x09]),
        (0x2A, &[0x11]),
    ];
    for (offset, bytes) in wrong {
        let mut table = Table::new(0x15, &boot_part());
        table.set(offset, bytes);
        let error = table.decode().unwrap_err();
        assert!(matches!(error, CfiError::Value { .. }), "{error}");
        assert_eq!(error.offset(), offset, "{error}");
    }
}
