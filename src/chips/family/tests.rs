//! Commands against the tables of datasheets.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

use super::*;

fn writes(family: Family, action: Action, mode: BusMode) -> Vec<(u32, u16)> {
    let command = family.command(action).unwrap();
    command.writes(Unlock::usual(Some(family)), mode, 0x1_0000, 0x1234).unwrap()
}

/// Datasheet Am29LV160D table 9, word mode, byte mode; Am29F016D table 9 for x8-only parts.
#[test]
fn amd_commands_in_every_mode() {
    use BusMode::{Byte, ByteOnly, Word};
    let word = [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0xA0), (0x1_0000, 0x1234)];
    let byte = [(0xAAA, 0xAA), (0x555, 0x55), (0xAAA, 0xA0), (0x1_0000, 0x1234)];
    assert_eq!(writes(Family::Amd, Action::Program, Word), word);
    assert_eq!(writes(Family::Amd, Action::Program, ByteOnly), word);
    assert_eq!(writes(Family::Amd, Action::Program, Byte), byte);
    assert_eq!(writes(Family::Amd, Action::ReadQuery, Word), [(0x55, 0x98)]);
    assert_eq!(writes(Family::Amd, Action::ReadQuery, Byte), [(0xAA, 0x98)]);
    assert_eq!(writes(Family::Amd, Action::Reset, Word), [(0, 0xF0)]);
    let erase = [
        (0xAAA, 0xAA),
        (0x555, 0x55),
        (0xAAA, 0x80),
        (0xAAA, 0xAA),
        (0x555, 0x55),
        (0x1_0000, 0x30),
    ];
    assert_eq!(writes(Family::Amd, Action::EraseSector, Byte), erase);
    assert_eq!(writes(Family::Amd, Action::EraseChip, Word)[5], (0x555, 0x10));
    let buffer = [(0x555, 0xAA), (0x2AA, 0x55), (0x1_0000, 0x25), (0x1_0000, 0x1234)];
    assert_eq!(writes(Family::Amd, Action::BufferStart, Word), buffer);
}

/// SST39SF S71147 table 4.
#[test]
fn jedec_commands() {
    let ids = [(0x5555, 0xAA), (0x2AAA, 0x55), (0x5555, 0x90)];
    assert_eq!(writes(Family::Jedec, Action::ReadIds, BusMode::ByteOnly), ids);
    assert_eq!(writes(Family::Page, Action::ReadIds, BusMode::ByteOnly), ids);
    assert_eq!(writes(Family::Jedec, Action::EraseBlock, BusMode::Word)[5], (0x1_0000, 0x50));
    let query = Family::Jedec.command(Action::ReadQuery).unwrap();
    assert_eq!(query.writes(Unlock::Long, BusMode::Byte, 0, 0), None, "no such part is known");
}

/// Datasheets 28F001BX table 3, 28F320W30 table 4.
#[test]
fn intel_commands() {
    let word = BusMode::Word;
    assert_eq!(writes(Family::Intel, Action::Reset, word), [(0, 0xFF)]);
    assert_eq!(writes(Family::Intel, Action::ReadIds, word), [(0, 0x90)]);
    let erase = [(0x1_0000, 0x20), (0x1_0000, 0xD0)];
    assert_eq!(writes(Family::Intel, Action::EraseSector, word), erase);
    let program = [(0x1_0000, 0x40), (0x1_0000, 0x1234)];
    assert_eq!(writes(Family::Intel, Action::Program, word), program);
    assert_eq!(Family::Intel.command(Action::EraseChip), None);
}

/// A command is nothing but its cycles: ES29LV160F p21, 98 to word address 55.
#[test]
fn cycles_are_data() {
    const QUERY: &[Cycle] = &[Cycle { at: At::Word(0x55), put: Put::Code(0x98) }];
    let query: &Command = Family::Amd.command(Action::ReadQuery).unwrap();
    assert_eq!(query.cycles, QUERY);
    let program = Family::Intel.command(Action::Program).unwrap();
    assert_eq!(program.cycles[1], Cycle { at: At::Target, put: Put::Value });
}

#[test]
fn unsure_unlock_addresses_send_nothing_that_needs_them() {
    let program = Family::Amd.command(Action::Program).unwrap();
    let reset = Family::Amd.command(Action::Reset).unwrap();
    for unlock in [Unlock::Unsure, Unlock::None] {
        assert_eq!(program.writes(unlock, BusMode::Word, 0, 0), None);
        assert!(reset.writes(unlock, BusMode::Word, 0, 0).is_some());
    }
    let any = program.writes(Unlock::Any, BusMode::Word, 0, 0).unwrap();
    assert_eq!(any[0].0, 0x555);
    assert_eq!(Unlock::usual(None), Unlock::Unsure);
}

/// Word addresses 0, 1, 0E, 0F; byte addresses 0, 2, 1C, 1E.
#[test]
fn id_addresses() {
    let of = |mode: BusMode| [0, 1, 0xE, 0xF].map(|word| mode.scaled(word));
    assert_eq!(of(BusMode::Word), [0, 1, 0xE, 0xF]);
    assert_eq!(of(BusMode::Byte), [0, 2, 0x1C, 0x1E]);
    assert_eq!(of(BusMode::ByteOnly), [0, 1, 0xE, 0xF]);
}

#[test]
fn every_fact_has_a_source_and_every_command_stands_once() {
    for family in Family::ALL {
        let facts = family.facts();
        for (index, (action, command)) in facts.commands.iter().enumerate() {
            assert!(
                !command.cycles.is_empty() && !command.source.is_empty(),
                "{family} {action:?}"
            );
            let first = facts.commands.iter().position(|(other, _)| other == action);
            assert_eq!(first, Some(index), "{family} {action:?}");
        }
        assert!(
            family.command(Action::Reset).is_some() && family.command(Action::ReadIds).is_some()
        );
        assert!(
            family.cautions().iter().all(|fact| !fact.text.is_empty() && !fact.source.is_empty())
        );
        assert!(family.limits().program.0 > 0 && !family.limits().source.is_empty());
        // Only a family with a status register has commands for one.
        let register = family.command(Action::ReadStatus).is_some();
        assert_eq!(register, family.status() == Status::Register, "{family}");
    }
}

/// Datasheets 28F008SA, 28F640C3 figure 16.
#[test]
fn bits_of_the_register() {
    assert_eq!(StatusRegister(0x00).to_string(), "status 00, busy");
    assert_eq!(StatusRegister(0x80).to_string(), "status 80");
    assert_eq!(StatusRegister(0x92).to_string(), "status 92, the sector is locked");
    assert_eq!(StatusRegister(0xB0).failure(), Some("the command sequence was wrong"));
    assert_eq!(StatusRegister(0xA0).failure(), Some("the erase failed"));
    assert_eq!(StatusRegister(0x90).failure(), Some("the program failed"));
    assert_eq!(StatusRegister(0x98).failure(), Some("VPP is too low or out of range"));
    assert!(StatusRegister(0xC0).is_suspended() && StatusRegister(0x84).is_suspended());
    assert!(!StatusRegister(0x80).is_suspended());
}
