//! What is plugged into the adapter, seen from the adapter.

use super::{Chip, ModuleBooks};
use crate::bus::{Cycles, Levels, Millivolts, Nanos, Precharge, Shape, Span, Word, WordAddress};
use crate::wire::LineLevels;

/// What the adapter does to its lines outside cycles: bit n of each field is line n.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drive {
    /// The lines that it drives.
    pub driven: LineLevels,
    /// The levels that it drives them to; other bits are 0.
    pub level: LineLevels,
    /// The lines that it pulls up and does not drive.
    pub pulled_up: LineLevels,
    /// What it charged the data lines to beforehand, that it now leaves alone.
    pub charged: Option<bool>,
}

impl Drive {
    /// What it would read with nothing plugged in and nothing charged.
    pub const fn alone(&self) -> LineLevels {
        LineLevels {
            data: self.level.data | self.pulled_up.data,
            address: self.level.address | self.pulled_up.address,
            control: self.level.control | self.pulled_up.control,
        }
    }
}

/// What is plugged into the adapter: a simulated module, a faulty one, an emulator.
///
/// Everything but the cycles has a default that does nothing, so that an emulator needs only
/// [`Cycles`].
pub trait Socket: Cycles + Send {
    /// The rail changes to `mv` at `now`.
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        let _ = (now, mv);
    }

    /// Reads with each data line charged to its bit of `charge` beforehand.
    ///
    /// By default two reads show which lines float: those that follow the charge.
    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        let zeros = self.read(shape, address, Precharge::Zeros);
        let floats = self.read(shape, address, Precharge::Ones) & !zeros;
        (zeros & !floats) | (charge & floats)
    }

    /// From here on control lines that a cycle's shape does not name stand at these levels; those
    /// outside the mask are let go.
    fn control(&mut self, levels: Levels) {
        let _ = levels;
    }

    /// The level of the module's ready line; true where there is none.
    fn ready(&mut self) -> bool {
        true
    }

    /// The levels that the adapter reads while it does this to its lines.
    fn lines(&mut self, drive: &Drive) -> LineLevels {
        drive.alone()
    }

    /// What the module has seen, where it keeps books.
    fn books(&self) -> Option<&ModuleBooks> {
        None
    }

    /// The chips of a memory by its name, that on the lowest data lines first; none where they are
    /// not simulated.
    fn chips(&self, space: &str) -> &[Chip] {
        let _ = space;
        &[]
    }

    /// The contents of a memory by its name: little-endian words in address order.
    fn contents(&self, space: &str) -> Option<Vec<u8>> {
        let _ = space;
        None
    }

    /// Puts `bytes` at the start of a memory, past all rules of its chips; false if there is no
    /// such memory or it is smaller.
    fn set_contents(&mut self, space: &str, bytes: &[u8]) -> bool {
        let _ = (space, bytes);
        false
    }
}

impl Cycles for Box<dyn Socket> {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        (**self).read(shape, address, precharge)
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        (**self).write(shape, address, value);
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, precharge: Precharge, out: &mut Vec<Word>) {
        (**self).read_burst(shape, span, precharge, out);
    }

    fn delay(&mut self, time: Nanos) {
        (**self).delay(time);
    }

    fn now(&self) -> Nanos {
        (**self).now()
    }
}

impl Socket for Box<dyn Socket> {
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        (**self).power(now, mv);
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        (**self).read_charged(shape, address, charge)
    }

    fn control(&mut self, levels: Levels) {
        (**self).control(levels);
    }

    fn ready(&mut self) -> bool {
        (**self).ready()
    }

    fn lines(&mut self, drive: &Drive) -> LineLevels {
        (**self).lines(drive)
    }

    fn books(&self) -> Option<&ModuleBooks> {
        (**self).books()
    }

    fn chips(&self, space: &str) -> &[Chip] {
        (**self).chips(space)
    }

    fn contents(&self, space: &str) -> Option<Vec<u8>> {
        (**self).contents(space)
    }

    fn set_contents(&mut self, space: &str, bytes: &[u8]) -> bool {
        (**self).set_contents(space, bytes)
    }
}
