//! Page-write parts: a page is loaded, then erased and programmed by the chip.

use super::command::{Action, At, Command, Cycle, UNLOCK_1, UNLOCK_2, code};
use super::{Caution, Facts, Limits, Status};
use crate::bus::Nanos;

const MEMORY: &str = "from memory";

const fn is(cycles: &'static [Cycle], source: &'static str) -> Command {
    Command { cycles, source }
}

pub(super) const FACTS: Facts = Facts {
    commands: &[
        (Action::Reset, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0xF0)], MEMORY)),
        (Action::ReadIds, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0x90)], MEMORY)),
        (Action::PageStart, is(&[UNLOCK_1, UNLOCK_2, code(At::First, 0xA0)], MEMORY)),
        (
            Action::Unprotect,
            is(
                &[
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x80),
                    UNLOCK_1,
                    UNLOCK_2,
                    code(At::First, 0x20),
                ],
                "datasheet AT28C040 0542F, algorithm 19",
            ),
        ),
    ],
    status: Status::TOGGLE_ONLY,
    limits: Limits {
        program: Nanos::from_millis(10),
        sector_erase: None,
        chip_erase: None,
        source: "datasheets AT29C features: 10 ms a page",
    },
    cautions: &[
        Caution {
            text: "the whole page is erased and written; bytes that were not loaded become FF",
            source: MEMORY,
        },
        Caution {
            text: "more than 150 us between two bytes ends the loading of a page",
            source: MEMORY,
        },
        Caution {
            text: "a part whose software protection is off takes any plain write as a page write: id commands would change it",
            source: MEMORY,
        },
    ],
};
