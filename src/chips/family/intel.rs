//! Commands of Intel's kind.

use super::command::{Action, At, Command, Cycle, VALUE, code};
use super::{Caution, Facts, Limits, Status};
use crate::bus::Nanos;

const TABLE: &str =
    "datasheets 28F001BX table 3, 28F400BL tables 4 and 5, 28F320W30 table 4, 28F128J3A p22";

const LOCKS: &str = "datasheet 28F640C3; MAME src/devices/machine/strata.cpp";

const fn is(cycles: &'static [Cycle], source: &'static str) -> Command {
    Command { cycles, source }
}

pub(super) const FACTS: Facts = Facts {
    commands: &[
        (Action::Reset, is(&[code(At::Anywhere, 0xFF)], TABLE)),
        (Action::ReadIds, is(&[code(At::Anywhere, 0x90)], TABLE)),
        (Action::ReadQuery, is(&[code(At::Anywhere, 0x98)], "datasheet 28F320W30 p10")),
        (Action::ReadStatus, is(&[code(At::Anywhere, 0x70)], TABLE)),
        (Action::ClearStatus, is(&[code(At::Anywhere, 0x50)], TABLE)),
        (Action::Program, is(&[code(At::Target, 0x40), VALUE], TABLE)),
        (
            Action::BufferStart,
            is(
                &[code(At::Target, 0xE8), VALUE],
                "MAME src/devices/machine/strata.cpp; between the two, bit 7 must read 1 (from memory)",
            ),
        ),
        (
            Action::BufferConfirm,
            is(&[code(At::Target, 0xD0)], "MAME src/devices/machine/strata.cpp"),
        ),
        (Action::EraseSector, is(&[code(At::Target, 0x20), code(At::Target, 0xD0)], TABLE)),
        (Action::Suspend, is(&[code(At::Anywhere, 0xB0)], TABLE)),
        (Action::Resume, is(&[code(At::Anywhere, 0xD0)], TABLE)),
        (Action::UnlockSector, is(&[code(At::Target, 0x60), code(At::Target, 0xD0)], LOCKS)),
        (Action::LockSector, is(&[code(At::Target, 0x60), code(At::Target, 0x01)], LOCKS)),
    ],
    status: Status::Register,
    limits: Limits {
        program: Nanos::from_millis(4),
        sector_erase: Some(Nanos::from_secs(17)),
        chip_erase: None,
        source: "query tables of 28F___J3: word 4.1 ms, sector 16.4 s at most, rounded",
    },
    cautions: &[
        Caution {
            text: "after a command of two cycles reads give status, not data, until FF is written; twice after a started program",
            source: TABLE,
        },
        Caution {
            text: "status changes on an edge of CE or OE: toggle one of them between two reads",
            source: "datasheet 28F008SA",
        },
        Caution { text: "SR.1, SR.3, SR.4 and SR.5 stay set until 50 is written", source: TABLE },
        Caution {
            text: "all sectors of C3 parts are locked when the rail comes on",
            source: "datasheet 28F640C3 features",
        },
        Caution {
            text: "older parts need 12 V at VPP, which this program never applies: they are read only",
            source: "datasheet 28F001BX",
        },
        Caution {
            text: "lost supply during an erase leaves undefined contents; VCC must stay in range",
            source: "datasheet 28F128J3A p15",
        },
    ],
};
