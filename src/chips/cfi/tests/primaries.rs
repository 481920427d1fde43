//! Extended tables of every layout.

use super::{Table, boot_part, region};
use crate::bus::Millivolts;
use crate::chips::cfi::{
    AmdTable, CommandSet, EraseSuspend, IntelTable, Primary, ProtectionField, Query, Version, Volts,
};
use crate::chips::{Boot, Cfi, CfiError, Doubt, MakerId, OrderDoubt};

fn amd(table: &Table) -> AmdTable {
    match table.decode().unwrap().primary {
        Primary::Amd(amd) => amd,
        other => panic!("{other:?}"),
    }
}

/// The extended table of `tests/data/cfi/s29gl064a.toml`.
#[test]
fn amd_fields() {
    let mut table = Table::new(0x15, &boot_part());
    let bytes = *b"PRI13\x08\x02\x01\x01\x04\0\0\x01\xB5\xC5\x04\x01";
    table.set(0x40, &bytes);
    let acc = Volts { least: Millivolts(11_500), most: Millivolts(12_500) };
    let wanted = AmdTable {
        version: Version { major: 1, minor: 3 },
        unlock_addressed: true,
        silicon: 2,
        erase_suspend: EraseSuspend::ReadWrite,
        protect_group: 1,
        temporary_unprotect: true,
        protect_scheme: 4,
        other_bank_sectors: 0,
        burst: false,
        page_words: Some(4),
        acc: Some(acc),
        boot_flag: Some(4),
        program_suspend: Some(true),
    };
    assert_eq!(amd(&table), wanted);
    // Version 1.0 ends before the supply and the flag, whatever stands there.
    table.set(0x44, b"0");
    let old = amd(&table);
    assert_eq!((old.acc, old.boot_flag, old.program_suspend), (None, None, None));
    table.set(0x44, b"1\x01\x01");
    let next = amd(&table);
    assert_eq!((next.boot_flag, next.program_suspend), (Some(4), None));
    assert_eq!((next.unlock_addressed, next.erase_suspend), (false, EraseSuspend::Read));
    for (code, words) in [(0, None), (2, Some(8)), (3, Some(16)), (4, Some(16)), (9, None)] {
        table.set(0x4C, &[code]);
        assert_eq!(amd(&table).page_words, words);
    }
}

/// The extended tables of 28F640C3 (datasheet table 19) and J3 65 nm (tables 35 and 36).
#[test]
fn intel_fields() {
    let mut table = Table::new(0x15, &[region(32, 0x1_0000)]);
    table.set(0x13, &[1, 0, 0x31]);
    table.set(0x31, b"PRI11\x0A\0\0\0\x01\x01\0\x33\0\x01\x80\0\x03\x03");
    let cfi = table.decode().unwrap();
    let Primary::Intel(intel) = cfi.primary else { panic!("{:?}", cfi.primary) };
    assert_eq!(intel.version.to_string(), "1.1");
    assert!(intel.has(IntelTable::ERASE_SUSPEND | IntelTable::LEGACY_LOCK));
    assert!(!intel.has(IntelTable::PROGRAM_SUSPEND) && !intel.has(IntelTable::INSTANT_LOCK));
    assert!(intel.program_while_suspended);
    assert_eq!((intel.block_status_mask, intel.features), (1, 0xA));
    assert_eq!((intel.vcc_best, intel.vpp_best), (Some(Millivolts(3300)), None));
    let protection =
        ProtectionField { fields: 1, lock_address: 0x80, factory_exponent: 3, user_exponent: 3 };
    assert_eq!(intel.protection, Some(protection));
    table.set(0x36, &[0x66, 0, 0, 0, 1, 3, 0, 0x33, 0xC0]);
    let cfi = table.decode().unwrap();
    let Primary::Intel(locked) = cfi.primary else { panic!("{:?}", cfi.primary) };
    assert!(locked.has(IntelTable::INSTANT_LOCK | IntelTable::PROGRAM_SUSPEND));
    assert_eq!((locked.block_status_mask, locked.vpp_best), (3, Some(Millivolts(12_000))));
}

/// The place of the table needs both bytes on P30 parts, 010A.
#[test]
fn a_far_extended_table() {
    let mut table = Table::new(0x15, &boot_part());
    table.set(0x13, &[1, 0, 0x0A, 1]);
    table.bytes.resize(0x140, 0);
    table.set(0x10A, b"PRI14");
    let cfi = table.decode().unwrap();
    assert!(matches!(&cfi.primary, Primary::Intel(table) if table.version.minor == 4));
    assert_eq!(cfi.geometry().boot, Boot::Bottom, "Intel lists the true order");
    let mut top = table;
    top.set(0x2D, &[30, 0, 0, 1, 7, 0, 0x20, 0]);
    assert_eq!(top.decode().unwrap().geometry().boot, Boot::Top);
}

#[test]
fn atmel_tables_go_by_the_maker_and_name_no_end() {
    let mut table = Table::new(0x15, &boot_part());
    table.set(0x40, b"PRI10\x02\x01\x00\x01");
    let query = Query::new(table.bytes.clone());
    let cfi = Cfi::decode(&query, Some(MakerId::ATMEL)).unwrap();
    let Primary::Atmel(atmel) = &cfi.primary else { panic!("{:?}", cfi.primary) };
    assert!(atmel.erase_suspend() && atmel.says_bottom);
    assert_eq!((atmel.burst, atmel.page), (0, 1));
    let doubt = Some(Doubt::OrderUnknown(OrderDoubt::MakerUnsure));
    assert_eq!(cfi.geometry().doubt, doubt);
    // Without the maker the same bytes are no AMD table either.
    let blind = Cfi::decode(&query, None).unwrap();
    assert!(matches!(blind.primary, Primary::Unread(CfiError::Value { offset: 0x45, .. })));
    assert_eq!(blind.geometry().doubt, Some(Doubt::OrderUnknown(OrderDoubt::NoTable)));
}

#[test]
fn a_bad_extended_table_leaves_the_rest() {
    let bad: [(u16, &[u8]); 6] =
        [(0x40, b"X"), (0x43, b"0"), (0x43, b"2"), (0x44, b"6"), (0x45, &[2]), (0x46, &[3])];
    for (offset, bytes) in bad {
        let mut table = Table::new(0x15, &[region(32, 0x1_0000)]).amd(1, 0);
        table.set(offset, bytes);
        let cfi = table.decode().unwrap();
        let Primary::Unread(error) = &cfi.primary else { panic!("{:?}", cfi.primary) };
        assert_eq!(error.offset(), offset, "{error}");
        assert_eq!(cfi.geometry().doubt, None);
    }
    let mut inside = Table::new(0x15, &boot_part());
    inside.set(0x15, &[0x34]);
    let Primary::Unread(error) = inside.decode().unwrap().primary else { panic!() };
    assert!(matches!(error, CfiError::Value { offset: 0x15, got: 0x34, .. }), "{error}");
    inside.set(0x15, &[0]);
    assert_eq!(inside.decode().unwrap().primary, Primary::None);
}

#[test]
fn a_second_command_set_is_kept() {
    let mut table = Table::new(0x15, &boot_part());
    assert_eq!(table.decode().unwrap().alternate, None);
    table.set(0x17, &[4, 0, 0x60, 0]);
    assert_eq!(table.decode().unwrap().alternate, Some((CommandSet(4), 0x60)));
}
