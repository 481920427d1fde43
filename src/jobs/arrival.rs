//! What a screen wants besides events: finer, and with the words themselves.

use super::{IdentifyReport, PlanReport};
use crate::bus::WordAddress;
use crate::link::LinkStats;
use crate::module::Sheet;
use crate::shelf::{Label, Plan, StoredPlan, Told};
use crate::wire::HelloReply;

/// Something that has come in. It is for looking at; no job depends on it being heard.
#[derive(Clone, Copy, Debug)]
pub enum Arrival<'a> {
    /// An adapter has answered HELLO.
    Adapter(&'a HelloReply),
    /// Sheet and specimen are chosen, and the sheet fits the board.
    Bench {
        /// The sheet.
        sheet: &'a Sheet,
        /// The individual module, if it is known.
        specimen: Option<&'a Label>,
        /// The adapter is a simulated one.
        simulated: bool,
    },
    /// The rail was found off, or switched off, before the job began.
    RailOff {
        /// Millivolts.
        mv: u16,
        /// Measured, not declared.
        measured: bool,
    },
    /// What identification has found.
    Identified(&'a IdentifyReport),
    /// What the link has counted when the work was done.
    Link(LinkStats),
    /// Bytes of the module have been read or checked, with what the link has counted so far.
    Bytes {
        /// How many.
        count: u64,
        /// The link.
        link: LinkStats,
    },
    /// A plan was made.
    Planned {
        /// What it does, sector by sector.
        plan: &'a Plan,
        /// The same for people.
        report: &'a PlanReport,
    },
    /// A plan is about to be carried out.
    Writing {
        /// The plan.
        plan: &'a StoredPlan,
        /// What its journal says, where it is gone on with.
        told: Option<&'a Told>,
    },
    /// A sector is in hand: from here on its contents are not known.
    InHand {
        /// The space.
        space: &'a str,
        /// Its first word on the bus.
        address: WordAddress,
    },
    /// The adapter gives leave to write.
    Leave {
        /// For so many seconds; 0 takes it back.
        seconds: u16,
    },
    /// Words of the copy.
    Words {
        /// The space.
        space: &'a str,
        /// The first word's address on the bus.
        address: WordAddress,
        /// Little-endian words.
        bytes: &'a [u8],
        /// They were read before an interruption and come from the disk.
        kept: bool,
    },
}
