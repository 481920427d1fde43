//! How long a write is expected to take.

use super::{Unit, Ways};
use crate::bus::Baud;
use crate::shelf::{Action, Estimate, PlannedSpace};

/// Cycles of the adapter's clock for one word of a checksum (`docs/performance.md`).
const CHECKSUM_CYCLES: f64 = 150.0;
/// Bits on the line for one byte.
const BITS: f64 = 10.0;
/// What frames and requests add to the words.
const FRAMES: f64 = 1.03;
/// Rail off until it is proven down, on again, and identification twice, in seconds.
const POWER_CYCLE_S: f64 = 4.0;

/// What the estimate must know of line and adapter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// The rate; none over TCP, where nothing is reckoned for it.
    pub baud: Option<Baud>,
    /// The adapter's clock; 0 if it does not tell.
    pub clock_hz: u32,
    /// Bytes of RAM, which is captured before and compared after.
    pub ram_bytes: u64,
    /// Words of that.
    pub ram_words: u64,
}

impl Line {
    /// Seconds for so many bytes.
    fn bytes(&self, bytes: f64) -> f64 {
        self.baud.map_or(0.0, |baud| bytes * BITS / f64::from(baud.0.max(1)) * FRAMES)
    }

    /// Seconds for the checksums of so many words.
    fn checksums(&self, words: f64) -> f64 {
        if self.clock_hz == 0 { 0.0 } else { words * CHECKSUM_CYCLES / f64::from(self.clock_hz) }
    }
}

/// How long it takes to do what `spaces` say; nothing if that is nothing.
pub fn estimate(spaces: &[(&PlannedSpace, &Ways)], line: &Line) -> Estimate {
    let (mut line_s, mut erase_s, mut slower_s) = (0.0, 0.0, 0.0);
    let (mut words, mut changed) = (0.0, 0.0);
    for (space, ways) in spaces {
        words += f64::from(space.words);
        for sector in &space.sectors {
            if !matches!(sector.action, Action::Program | Action::Erase) {
                continue;
            }
            changed += f64::from(sector.words);
            let transfer = line.bytes(f64::from(sector.programmed) * space.width.bytes() as f64);
            let (pieces, by_sector) = match ways.unit {
                Unit::Word => (sector.programmed, true),
                Unit::Line(n) => (sector.programmed.div_ceil(n.max(1)), true),
                Unit::Page(n) => (sector.words.div_ceil(n.max(1)), false),
            };
            let program = f64::from(pieces) * ways.pace.program_us / 1e6;
            line_s += transfer;
            slower_s += (program - transfer).max(0.0);
            if by_sector && sector.action == Action::Erase {
                erase_s += ways.pace.erase_ms / 1e3;
            }
        }
    }
    if changed == 0.0 {
        return Estimate::default();
    }
    // Every sector before and after; those that change also blank and programmed.
    let ram = line.bytes(line.ram_bytes as f64) + 2.0 * line.checksums(line.ram_words as f64);
    let proofs = line.checksums(2.0 * words + 2.0 * changed) + ram + POWER_CYCLE_S;
    Estimate { line_s, erase_s, program_s: slower_s, total_s: line_s + erase_s + slower_s + proofs }
}
