//! Judges what reached the chips, from the datasheets' command tables and not from the host's code.
//!
//! Each lane is one chip with cells, sectors and the state of its command decoder. Every write
//! cycle must be a step of a command that is known, at an address where it may go: the addresses
//! of unlock cycles and of questions, the first word, and the sectors that are to be changed. Cells
//! go from 1 to 0 by programming and to 1 only by an erase, whatever the emulator does.

mod amd;
mod cells;
mod intel;
mod itself;

use crate::support::fitted::Step;
use amd::Amd;
use buswright::bus::Width;
use cells::Cells;
use intel::Intel;

/// Whose commands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// AMD's, 16 data lines.
    Amd,
    /// Intel's, 16 data lines.
    Intel,
}

/// Sectors of one chip as `(count, bytes)`, lowest first.
pub type Layout = Vec<(u32, u32)>;

/// What is decoded so far.
enum Decoder {
    Amd(Amd),
    Intel(Intel),
}

/// One chip.
struct Lane {
    decoder: Decoder,
    cells: Cells,
}

impl Lane {
    fn write(&mut self, at: u32, value: u16) -> Result<(), String> {
        match &mut self.decoder {
            Decoder::Amd(amd) => amd.write(&mut self.cells, at, value),
            Decoder::Intel(intel) => intel.write(&mut self.cells, at, value),
        }
    }

    /// The supply goes; true if the chip was reading.
    fn power_down(&mut self) -> bool {
        match &mut self.decoder {
            Decoder::Amd(amd) => std::mem::take(amd).is_reading(),
            Decoder::Intel(intel) => std::mem::take(intel).is_reading(),
        }
    }
}

/// All chips of a module.
pub struct Judge {
    lanes: Vec<Lane>,
    /// Steps judged.
    steps: usize,
    /// Times the supply went in the middle of something.
    pub cut: u32,
}

/// What was done to the sectors of one chip, by their numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Done {
    /// How often each was erased.
    pub erases: Vec<u32>,
    /// How many words of each were programmed.
    pub programs: Vec<u32>,
}

impl Judge {
    /// Chips of 16 lines on a bus of `width` that hold `contents` and have sectors as `layout` says.
    pub fn new(family: Family, width: Width, layout: &Layout, contents: &[u8]) -> Self {
        let lane = |first: u32| {
            let words = width.words(contents).map(|word| (word >> first) as u16).collect();
            let decoder = match family {
                Family::Amd => Decoder::Amd(Amd::default()),
                Family::Intel => Decoder::Intel(Intel::default()),
            };
            Lane { decoder, cells: Cells::new(words, layout) }
        };
        let lanes = (0..width.bits()).step_by(16).map(lane).collect();
        Self { lanes, steps: 0, cut: 0 }
    }

    /// From here on the sectors with these numbers may be changed, and no others.
    pub fn allow(&mut self, sectors: &[usize]) {
        self.lanes.iter_mut().for_each(|lane| lane.cells.allow(sectors));
    }

    /// Judges `steps`, which come after all before; the first wrong one fails the test.
    pub fn see(&mut self, steps: &[Step]) {
        for step in steps {
            self.steps += 1;
            if let Err(why) = self.one(step) {
                panic!("step {}: {why}", self.steps);
            }
        }
    }

    fn one(&mut self, step: &Step) -> Result<(), String> {
        match *step {
            Step::PowerUp => {}
            Step::PowerDown => {
                let reading = self.lanes.iter_mut().map(Lane::power_down);
                self.cut += u32::from(reading.filter(|reading| !reading).count() > 0);
            }
            Step::Write(at, word) => {
                for (n, lane) in self.lanes.iter_mut().enumerate() {
                    let written = lane.write(at, (word >> (16 * n)) as u16);
                    written.map_err(|why| format!("lane {n}, {word:X} at {at:X}: {why}"))?;
                }
            }
        }
        Ok(())
    }

    /// The first word that these cycles leave other than in `wanted`.
    pub fn first_unlike(&self, wanted: &[u8]) -> Option<usize> {
        let lanes = self.lanes.iter().zip((0..).step_by(2));
        lanes
            .filter_map(|(lane, first)| {
                let wanted = wanted.chunks_exact(2 * self.lanes.len());
                let mut pairs = lane.cells.words().iter().zip(wanted);
                pairs.position(|(cell, word)| cell.to_le_bytes() != word[first..first + 2])
            })
            .min()
    }

    /// What was done to each chip since the last call.
    pub fn done(&mut self) -> Vec<Done> {
        self.lanes.iter_mut().map(|lane| lane.cells.done()).collect()
    }
}
