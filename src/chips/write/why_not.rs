//! Why chips cannot be changed here.

use crate::chips::Doubt;
use thiserror::Error;

/// Why chips cannot be changed here. Chips count from 0, as they are listed.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum WhyNot {
    /// There is no chip, or not one answer for each.
    #[error("{chips} chips and {findings} answers: identify the module first")]
    NoChips {
        /// Chips that are to be changed.
        chips: usize,
        /// What was found.
        findings: usize,
    },
    /// Nothing tells the commands of a chip.
    #[error(
        "nothing tells which commands chip {chip} follows; describe it in a chip file (--chips)"
    )]
    NoCommands {
        /// The chip.
        chip: usize,
    },
    /// A chip follows other commands than it would be given.
    #[error("chip {chip} follows {own}, but it would be given {given}: the chips differ")]
    OtherWay {
        /// The chip.
        chip: usize,
        /// Family and unlock addresses that it answers to.
        own: String,
        /// Those of the others.
        given: String,
    },
    /// Sources contradict each other about where unlock cycles go.
    #[error(
        "it is not sure where the unlock cycles of these chips go; name it in a chip file (--chips)"
    )]
    UnlockUnsure,
    /// It needs a high voltage.
    #[error("chip {chip} ({part}) needs {mv} mV at VPP to be changed, which is never applied here")]
    HighVoltage {
        /// The chip.
        chip: usize,
        /// The part.
        part: String,
        /// The voltage.
        mv: u16,
    },
    /// Its query table cannot be right.
    #[error("the query table of chip {chip} cannot be right: {why}")]
    Table {
        /// The chip.
        chip: usize,
        /// What is wrong with it.
        why: String,
    },
    /// The chips are not of one kind.
    #[error("chips 0 and {chip} differ in {what}: they cannot be changed together")]
    ChipsDiffer {
        /// The chip that is unlike the first.
        chip: usize,
        /// In what.
        what: &'static str,
    },
    /// The length of a page is not known.
    #[error("the page length of chip {chip} is not known; give `page` in a chip file (--chips)")]
    NoPage {
        /// The chip.
        chip: usize,
    },
    /// Pages must be loaded through address lines in their own order.
    #[error("the address lines of these chips are scrambled so that a page is no unbroken range")]
    PageScrambled,
    /// A lane that no wait can judge.
    #[error("the data lines of chip {chip} do not lie together on a lane of 8 or 16 lines")]
    Lane {
        /// The chip.
        chip: usize,
    },
    /// The sectors are not sure.
    #[error("no sector can be erased: {0}")]
    Doubt(Doubt),
    /// Scrambled address lines tear sectors apart.
    #[error(
        "the address lines of these chips are scrambled so that a sector is no unbroken range of words"
    )]
    SectorScrambled,
    /// Sectors that are no powers of two, or beyond 32 bits.
    #[error("sectors of {0} bytes fit no bus of this width")]
    SectorSize(u64),
}
