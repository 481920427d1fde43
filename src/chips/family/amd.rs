//! Commands of AMD's kind.

use super::command::{Action, At, Command, Cycle, UNLOCK_1, UNLOCK_2, VALUE, code};
use super::{Caution, Facts, Limits, Status};
use crate::bus::Nanos;

const TABLE_9: &str = "datasheet Am29LV160D table 9; Am29F016D table 9, Am29LV004 table 5";
const GL_A: &str = "datasheets S29GL-M p105, S29GL-A p46";

const fn is(cycles: &'static [Cycle], source: &'static str) -> Command {
    Command { cycles, source }
}

pub(super) const FACTS: Facts = Facts {
    commands: &[
        (Action::Reset, is(&[code(At::Anywhere, 0xF0)], TABLE_9)),
        (Action::ReadIds, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0x90)], TABLE_9)),
        (
            Action::ReadQuery,
            is(&[code(At::Word(0x55), 0x98)], "datasheets ES29LV160F p21, A29L160A p12"),
        ),
        (Action::Program, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0xA0), VALUE], TABLE_9)),
        (Action::BufferStart, is(&[UNLOCK_1, UNLOCK_2, code(At::Target, 0x25), VALUE], GL_A)),
        (Action::BufferConfirm, is(&[code(At::Target, 0x29)], GL_A)),
        (Action::BufferAbort, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0xF0)], "from memory")),
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
                TABLE_9,
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
                TABLE_9,
            ),
        ),
        (Action::BypassStart, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0x20)], TABLE_9)),
        (Action::BypassProgram, is(&[code(At::Target, 0xA0), VALUE], TABLE_9)),
        (Action::BypassEnd, is(&[code(At::Target, 0x90), code(At::Target, 0x00)], TABLE_9)),
        (Action::Suspend, is(&[code(At::Anywhere, 0xB0)], TABLE_9)),
        (Action::Resume, is(&[code(At::Anywhere, 0x30)], TABLE_9)),
    ],
    status: Status::AMD,
    limits: Limits {
        program: Nanos::from_micros(300),
        sector_erase: Some(Nanos::from_secs(15)),
        chip_erase: None,
        source: "datasheet Am29LV040B p31: byte 300 us, sector 15 s",
    },
    cautions: &[
        Caution {
            text: "toggling may stop just as DQ5 rises: read once more before calling it a failure",
            source: "datasheets Am29F040B p16, Am29LV040B p18, Am29F400B p20",
        },
        Caution {
            text: "programming 1 over 0 sets DQ5 or looks successful and reads 0: always verify",
            source: "datasheet S29GL-N p52",
        },
        Caution {
            text: "poll the last address loaded into a write buffer; all of it lies in one buffer page and one sector",
            source: GL_A,
        },
        Caution {
            text: "after an abort of the write buffer DQ1 is 1, DQ6 goes on toggling and DQ5 stays 0",
            source: GL_A,
        },
        Caution {
            text: "a further sector is accepted only within 50 us of the last, while DQ3 is 0",
            source: "datasheet Am29LV040B p18",
        },
    ],
};
