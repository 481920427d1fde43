//! What a screen wants besides events: finer, and with the words themselves.

use super::IdentifyReport;
use crate::bus::WordAddress;
use crate::link::LinkStats;
use crate::module::Sheet;
use crate::shelf::Label;
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
