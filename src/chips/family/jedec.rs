//! Commands with unlock cycles at 5555 and 2AAA, as the SST39 parts have them.

use super::command::{Action, At, Command, Cycle, UNLOCK_1, UNLOCK_2, VALUE, code};
use super::{Caution, Facts, Limits, Status};
use crate::bus::Nanos;

const TABLE_4: &str = "datasheets SST39SF S71147 table 4, SST39VF DS25085A table 9";

const fn is(cycles: &'static [Cycle], source: &'static str) -> Command {
    Command { cycles, source }
}

pub(super) const FACTS: Facts = Facts {
    commands: &[
        (Action::Reset, is(&[code(At::Anywhere, 0xF0)], TABLE_4)),
        (Action::ReadIds, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0x90)], TABLE_4)),
        (
            Action::ReadQuery,
            is(
                &[UNLOCK_1, UNLOCK_2, code(At::First, 0x98)],
                "a maker's self-test code for SST39VF",
            ),
        ),
        (Action::Program, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0xA0), VALUE], TABLE_4)),
        (
            Action::EraseSector,
            is(
                &[
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x80),
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::Target, 0x30),
                ],
                TABLE_4,
            ),
        ),
        (
            Action::EraseBlock,
            is(
                &[
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x80),
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::Target, 0x50),
                ],
                TABLE_4,
            ),
        ),
        (
            Action::EraseChip,
            is(
                &[
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x80),
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x10),
                ],
                TABLE_4,
            ),
        ),
    ],
    status: Status::TOGGLE_ONLY,
    limits: Limits {
        program: Nanos::from_micros(20),
        sector_erase: Some(Nanos::from_millis(25)),
        chip_erase: Some(Nanos::from_millis(100)),
        source: "SST39SF S71147: byte 20 us; 25 ms a sector and 100 ms a chip from memory",
    },
    cautions: &[
        Caution {
            text: "address lines from A15 up do not matter in unlock cycles",
            source: TABLE_4,
        },
        Caution {
            text: "blocks of 64K are erased by 50 only on parts that have blocks; SST39SF have sectors only",
            source: "datasheet SST39VF DS25085A table 9; SST39SF from memory",
        },
    ],
};
