//! Status bits of the AMD type on the data lines.
//!
//! `Am29F040B` datasheet p. 16, `Am29F400B` p. 20, `Am29LV160D`: DQ7 complement while programming and 0
//! while erasing; DQ6 toggles with every read; DQ5 longest time exceeded; DQ3 erase begun; DQ2 toggles
//! in a sector that is being erased or suspended; DQ1 write buffer aborted (`S29GL-A`).

use super::{Amd, Work};
use crate::sim::chips::core::Core;

const DQ7: u16 = 0x80;
const DQ6: u16 = 0x40;
const DQ5: u16 = 0x20;
const DQ3: u16 = 0x08;
const DQ2: u16 = 0x04;
const DQ1: u16 = 0x02;
const DEFINED: u16 = DQ7 | DQ6 | DQ5 | DQ3 | DQ2 | DQ1;

impl Amd {
    /// What a read shows instead of contents or codes, if it shows status.
    pub(super) fn status(&mut self, core: &mut Core, at: u32) -> Option<u16> {
        let sector = core.cells.sector_of(at);
        let inverse = |last: u16| !last & DQ7;
        let (bits, toggles6, toggles2) = match &self.work {
            Work::None => match &self.suspended {
                Some(work) if work.has(sector) && self.mode == super::Mode::Array => {
                    (DQ7 | DQ6, false, true)
                }
                _ => return None,
            },
            Work::Program { last, .. } | Work::Refused { last, erase: false, .. } => {
                (inverse(*last) | DQ2, true, false)
            }
            Work::Window { work, .. } => (0, true, work.has(sector)),
            Work::Erase { work, .. } => (DQ3, true, work.has(sector)),
            Work::Refused { .. } => (DQ3, true, true),
            Work::Failed { erase: Some(work), .. } => (DQ5 | DQ3, true, work.has(sector)),
            Work::Failed { erase: None, last } => (inverse(*last) | DQ5 | DQ2, true, false),
            Work::Aborted { last, .. } => (inverse(*last) | DQ2 | DQ1, true, false),
        };
        let mut out = bits;
        if toggles6 {
            self.dq6 = !self.dq6;
            out |= if self.dq6 { DQ6 } else { 0 };
        }
        if toggles2 {
            self.dq2 = !self.dq2;
            out |= if self.dq2 { DQ2 } else { 0 };
        }
        // The other lines are not defined: a host must not look at them.
        Some((out | (core.rng.u16(..) & !DEFINED)) & core.cells.ones())
    }
}
