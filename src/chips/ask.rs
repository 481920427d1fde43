//! Asking chips who they are, as cycle scripts.
//!
//! The commands are those of [`Family`], with the datasheet beside each. Everything here only
//! asks: nothing is programmed, erased or locked. Scripts that are not sure yet whether there is
//! flash at all read back what they wrote, and write no more where it stands there.

use super::family::Action;
use super::{BusMode, Family, Way, Wiring};
use crate::bus::script::{BuildError, Builder, Script};
use crate::bus::{ShapeId, Width, Word, WordAddress};

/// Chip addresses in word mode at which ids are read: maker, device, protection of the first
/// sector, a continuation that some makers show at 3 or 100, the further words of a three-word id.
pub const ID_WORDS: [u32; 7] = [0, 1, 2, 3, 0x0E, 0x0F, 0x100];
/// Query offsets that are read: most tables end before, and the pointer in the table tells of
/// the others.
pub const QUERY_WORDS: u32 = 0x60;
/// What an extended table may need beyond its start.
pub const EXTENDED_WORDS: u32 = 0x28;
/// Addresses that one script reads, if the adapter has room for so many.
const READS_A_SCRIPT: usize = 64;
/// Bytes of a read by itself with its emit, and of everything around the reads, at most.
const READ_BYTES: usize = 6;
const AROUND_READS: usize = 60;
/// After the id commands of page-write parts and before their next read (from memory, AT29C
/// datasheets: 10 ms).
const PAGE_PAUSE_US: u32 = 10_000;
/// Neighbouring addresses from which on a loop is shorter than reads one by one.
const LOOP_FROM: usize = 4;

/// Writes after which the word is read back.
const READ_BACK: usize = 2;
/// Id words that are read a second time: what does not hold still is no id.
const TWICE: usize = 2;
/// A stop waits so long for chips to be back from id mode; adapters need a few milliseconds, and 20 of
/// pauses.
const IDS_MS: u32 = 500;
/// A, once every write of the way in was made. A run begins with A at 0.
const ALL_WRITTEN: WordAddress = WordAddress(1);

/// Addresses that one script may read on an adapter with scripts of so many bytes, which emit so
/// many words; 1 at least.
pub fn reads_a_script(script_bytes: usize, emitted: usize) -> usize {
    let room = script_bytes.saturating_sub(AROUND_READS) / READ_BYTES;
    room.min(emitted).clamp(1, READS_A_SCRIPT)
}

/// What [`Asking::ids`] has brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// A command stood there when it was read back: that is memory which takes writes.
    TakesWrites {
        /// The data lines where it stood.
        lanes: Word,
    },
    /// The words in id mode.
    Words {
        /// In the order of [`ID_WORDS`].
        ids: Vec<Word>,
        /// Bits that were not the same twice.
        moved: Word,
    },
}

/// One space whose chips can be asked together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asking {
    /// The shape of its cycles.
    pub shape: ShapeId,
    /// Its width.
    pub width: Width,
    /// The word address where it begins.
    pub base: WordAddress,
    /// The chips that are asked; their address lines are the same.
    pub chips: Vec<Wiring>,
    /// The chips beside them, which are kept out of it.
    pub others: Vec<Wiring>,
    /// How they are asked.
    pub way: Way,
}

impl Asking {
    /// `value` for every chip that is asked, and a reset for those that are not.
    fn every(&self, value: u16) -> Word {
        // The upper data lines do not matter in commands; where they are another chip's that the sheet
        // does not know of, it gets the whole command, too, and not another word each time.
        let value = if self.way.family == Family::Page { value & 0xFF | value << 8 } else { value };
        self.chips.iter().fold(self.rest(), |word, chip| word | chip.put(value))
    }

    /// What the chips beside them get: "back to reading", which no state of them minds.
    fn rest(&self) -> Word {
        let reset = self.writes_of_chip(Action::Reset).last().map_or(0xF0, |write| write.1);
        self.others.iter().fold(0, |word, chip| word | chip.put(reset))
    }

    /// The data lines of the chips that are asked.
    pub fn lanes(&self) -> Word {
        self.chips.iter().fold(0, |word, chip| word | chip.lane().mask())
    }

    /// The module's word address of a chip's address.
    pub fn at(&self, chip: u32) -> WordAddress {
        let offset = self.chips.first().map_or(chip, |first| first.address(chip));
        WordAddress(self.base.0.wrapping_add(offset))
    }

    fn writes_of_chip(&self, action: Action) -> Vec<(u32, u16)> {
        let Way { family, unlock, mode } = self.way;
        let command = family.command(action);
        command.and_then(|command| command.writes(unlock, mode, 0, 0)).unwrap_or_default()
    }

    /// The write cycles of a command; none if the family has no such command.
    fn writes(&self, action: Action) -> Vec<(WordAddress, Word)> {
        let writes = self.writes_of_chip(action);
        writes.iter().map(|&(at, value)| (self.at(at), self.every(value))).collect()
    }

    /// Every address that it may write at, each once: a permit lists them, their words are saved.
    pub fn written(&self) -> Vec<WordAddress> {
        let actions = [Action::ReadIds, Action::ReadQuery, Action::Reset];
        let writes = actions.iter().flat_map(|&action| self.writes(action));
        let mut all: Vec<_> = writes.map(|(at, _)| at).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// The addresses at which ids are read, in the order of [`ID_WORDS`].
    pub fn id_addresses(&self) -> Vec<WordAddress> {
        ID_WORDS.iter().map(|&word| self.at(self.way.mode.scaled(word))).collect()
    }

    /// The addresses of the query table from chip address 0 on, odd ones of byte mode included.
    pub fn query_addresses(&self, words: std::ops::Range<u32>) -> Vec<WordAddress> {
        let scale = if self.way.mode == BusMode::Byte { 2 } else { 1 };
        (words.start * scale..words.end * scale).map(|chip| self.at(chip)).collect()
    }

    /// Enters id mode, reads [`ID_WORDS`], the first two of them again, and goes back to reading.
    ///
    /// After each of the first two writes the word is read back. Where a lane holds what was
    /// written, and did not hold it `before`, that is memory which takes writes: nothing more is
    /// written then. A page-write part takes a sequence only if its writes come quickly: each stands
    /// in an atomic stretch with nothing in it that is not needed. All of it is critical, so that no
    /// chip is left in id mode. [`answer`](Self::answer) reads what it brings.
    pub fn ids(&self, before: impl Fn(WordAddress) -> Word) -> Result<Script, BuildError> {
        let guards = self.guards(before);
        let addresses = self.id_addresses();
        let script = self.open().critical(IDS_MS, |script| {
            let enter = self.writes(Action::ReadIds);
            let script = script.atomic(|script| guarded(script, &enter, &guards)).emit();
            let mut script = self.pause(script);
            for &at in addresses.iter().chain(&addresses[..TWICE]) {
                script = script.read(at).emit();
            }
            unless_held(script, &guards, |script| self.back(script))
        });
        script.script()
    }

    /// What is read back after the first writes, and the lanes in which it tells something.
    fn guards(&self, before: impl Fn(WordAddress) -> Word) -> Vec<Guard> {
        let first = self.writes(Action::ReadIds).into_iter().take(READ_BACK);
        let guard = |(at, value)| {
            let tells = |mask: &Word| (before(at) ^ value) & mask != 0;
            let lanes = self.chips.iter().map(|chip| chip.lane().mask()).filter(tells);
            Guard { at, value, lanes: lanes.collect() }
        };
        first.map(guard).collect()
    }

    /// What a page-write part needs between its id commands and its next read.
    fn pause(&self, script: Builder) -> Builder {
        if self.way.family == Family::Page { script.delay(PAGE_PAUSE_US) } else { script }
    }

    /// What [`ids`](Self::ids) has brought: the words it has emitted, and A at its end; `None` if it
    /// is another number of words.
    pub fn answer(
        &self,
        emitted: &[Word],
        a: WordAddress,
        before: impl Fn(WordAddress) -> Word,
    ) -> Option<Answer> {
        let (&held, ids) = emitted.split_first()?;
        if ids.len() != ID_WORDS.len() + TWICE {
            return None;
        }
        if a != ALL_WRITTEN {
            let holds = |guard: &Guard| {
                let lanes = guard.lanes.iter().filter(|lane| (held ^ guard.value) & **lane == 0);
                lanes.fold(0, |all, lane| all | lane)
            };
            let lanes = self.guards(before).iter().map(holds).fold(0, |all, lanes| all | lanes);
            return Some(Answer::TakesWrites { lanes });
        }
        let (ids, again) = ids.split_at(ID_WORDS.len());
        let moved = ids.iter().zip(again).fold(0, |moved, (one, two)| moved | (one ^ two));
        Some(Answer::Words { ids: ids.to_vec(), moved })
    }

    /// Writes the words again that [`ids`](Self::ids) may have written, as they were.
    pub fn restore(&self, words: &[(WordAddress, Word)]) -> Result<Script, BuildError> {
        let script = Builder::new(self.shape);
        words.iter().fold(script, |script, &(at, word)| script.write(at, word)).script()
    }

    /// Back to reading, whatever mode the chips are in.
    pub fn reset(&self) -> Result<Script, BuildError> {
        self.back(self.open()).script()
    }

    /// Scripts that enter query mode, read `addresses`, as many as `reads` each
    /// ([`reads_a_script`]), and go back; `None` without such a command.
    pub fn query(
        &self,
        addresses: &[WordAddress],
        reads: usize,
    ) -> Option<Result<Vec<Script>, BuildError>> {
        self.in_mode(Action::ReadQuery, addresses, reads)
    }

    /// The same in id mode, of chips that are known to be flash.
    pub fn codes(
        &self,
        addresses: &[WordAddress],
        reads: usize,
    ) -> Option<Result<Vec<Script>, BuildError>> {
        self.in_mode(Action::ReadIds, addresses, reads)
    }

    fn in_mode(
        &self,
        action: Action,
        addresses: &[WordAddress],
        reads: usize,
    ) -> Option<Result<Vec<Script>, BuildError>> {
        let enter = self.writes(action);
        if enter.is_empty() {
            return None;
        }
        let scripts = addresses.chunks(reads.max(1)).map(|chunk| {
            // What must not be torn apart cannot stand after `finally`.
            if self.way.family == Family::Page {
                let script = self.open().critical(IDS_MS, |script| {
                    let script = script.atomic(|script| all(script, &enter));
                    self.back(read_all(self.pause(script), chunk))
                });
                return script.script();
            }
            let script = all(self.open(), &enter);
            read_all(script, chunk).finally(|script| self.back(script)).script()
        });
        Some(scripts.collect())
    }

    fn open(&self) -> Builder {
        Builder::new(self.shape).lanes(self.lanes(), self.rest())
    }

    fn back(&self, script: Builder) -> Builder {
        let writes = self.writes(Action::Reset);
        if self.way.family != Family::Page {
            return all(script, &writes);
        }
        self.pause(script.atomic(|script| all(script, &writes)))
    }
}

fn all(script: Builder, writes: &[(WordAddress, Word)]) -> Builder {
    writes.iter().fold(script, |script, &(at, word)| script.write(at, word))
}

/// `writes`, each of the first read back and the next ones left out where it stands there. At the end
/// D is the word that was read back last, and A tells whether all were made.
fn guarded(script: Builder, writes: &[(WordAddress, Word)], guards: &[Guard]) -> Builder {
    let Some((&(at, value), more)) = writes.split_first() else {
        return script.set_a(ALL_WRITTEN);
    };
    let script = script.write(at, value);
    match guards.split_first() {
        Some((guard, guards)) => {
            unless_stands(script, guard, |script| guarded(script, more, guards))
        }
        None => guarded(script, more, &[]),
    }
}

/// A word that was written and read back.
struct Guard {
    at: WordAddress,
    value: Word,
    /// The lanes in which it tells something.
    lanes: Vec<Word>,
}

/// `body`, unless one of the words written before stands where it was written.
fn unless_held(
    script: Builder,
    guards: &[Guard],
    body: impl FnOnce(Builder) -> Builder,
) -> Builder {
    // Through a pointer, or the compiler would make a type for every depth.
    let body: Box<dyn FnOnce(Builder) -> Builder + '_> = Box::new(body);
    match guards.split_first() {
        None => body(script),
        Some((guard, rest)) => {
            unless_stands(script, guard, |script| unless_held(script, rest, body))
        }
    }
}

/// Reads the word of `guard`, and `body` unless it stands there.
fn unless_stands(script: Builder, guard: &Guard, body: impl FnOnce(Builder) -> Builder) -> Builder {
    let script = if guard.lanes.is_empty() { script } else { script.read(guard.at) };
    unless_any(script, &guard.lanes, guard.value, body)
}

/// `body`, unless D holds `value` in one of `lanes`.
fn unless_any(
    script: Builder,
    lanes: &[Word],
    value: Word,
    body: impl FnOnce(Builder) -> Builder,
) -> Builder {
    let body: Box<dyn FnOnce(Builder) -> Builder + '_> = Box::new(body);
    let Some((&mask, rest)) = lanes.split_first() else { return body(script) };
    script.unless_d(mask, value & mask, |script| unless_any(script, rest, value, body))
}

/// Reads and emits every address; neighbours in a loop.
fn read_all(mut script: Builder, addresses: &[WordAddress]) -> Builder {
    let neighbours = addresses.chunk_by(|one, two| two.0 == one.0.wrapping_add(1));
    for run in neighbours {
        script = match run {
            [first, ..] if run.len() >= LOOP_FROM => {
                script.set_a(*first).repeat(run.len() as u32, |body| body.read_a().emit().step(1))
            }
            few => few.iter().fold(script, |script, &at| script.read(at).emit()),
        };
    }
    script
}

#[cfg(test)]
mod tests;
