//! What is plugged into the adapter, seen from the adapter.

use super::{Chip, ModuleBooks};
use crate::bus::{Cycles, Millivolts, Nanos, Precharge, Shape, Span, Word, WordAddress};

/// What is plugged into the adapter: a simulated module, a faulty one, an emulator.
///
/// Everything but the cycles has a default that does nothing, so that an emulator needs only
/// [`Cycles`].
pub trait Socket: Cycles + Send {
    /// The rail changes to `mv` at `now`.
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        let _ = (now, mv);
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
