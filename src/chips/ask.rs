//! Asking chips who they are, as cycle scripts.
//!
//! The commands are those of [`Family`], with the datasheet beside each. Everything here only
//! asks: nothing is programmed, erased or locked. Scripts that are not sure yet whether there is
//! flash at all read back what they wrote, and write no more where it stands there.

use super::family::Action;
use super::{BusMode, Way, Wiring};
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

    /// The first writes of the way in, after which the word is read back.
    fn first_writes(&self) -> Vec<(WordAddress, Word)> {
        self.writes(Action::ReadIds).into_iter().take(READ_BACK).collect()
    }

    /// Enters id mode, reads [`ID_WORDS`], the first two of them again, and goes back to reading.
    ///
    /// After each of the first two writes the word is read back. Where a lane holds what was
    /// written, and did not hold it `before`, that is memory which takes writes: nothing more is
    /// written then. All of it is one atomic block, because a page-write part takes a sequence
    /// that pauses for data. [`Answer::of`] reads what it emits.
    pub fn ids(&self, before: impl Fn(WordAddress) -> Word) -> Result<Script, BuildError> {
        let script = Builder::new(self.shape).lanes(self.lanes(), self.rest());
        script.atomic(|script| self.guarded(script, &before)).script()
    }

    fn guarded(&self, mut script: Builder, before: &impl Fn(WordAddress) -> Word) -> Builder {
        let first = self.first_writes();
        let mut guards = Vec::new();
        for (number, (at, value)) in self.writes(Action::ReadIds).into_iter().enumerate() {
            script = unless_held(script, &guards, |script| script.write(at, value));
            if number < first.len() {
                script = script.read(at).emit();
                let tells = |mask: &Word| (before(at) ^ value) & mask != 0;
                let lanes = self.chips.iter().map(|chip| chip.lane().mask()).filter(tells);
                guards.push(Guard { at, value, lanes: lanes.collect() });
            }
        }
        let page = self.way.family == super::Family::Page;
        if page {
            script = script.delay(PAGE_PAUSE_US);
        }
        let addresses = self.id_addresses();
        for &at in addresses.iter().chain(&addresses[..TWICE]) {
            script = script.read(at).emit();
        }
        let back = self.writes(Action::Reset);
        unless_held(script, &guards, |script| {
            back.into_iter().fold(script, |script, (at, value)| script.write(at, value))
        })
    }

    /// What [`ids`](Self::ids) has emitted; `None` if it is another number of words.
    pub fn answer(&self, emitted: &[Word], before: impl Fn(WordAddress) -> Word) -> Option<Answer> {
        let first = self.first_writes();
        let (held, ids) = emitted.split_at_checked(first.len())?;
        if ids.len() != ID_WORDS.len() + TWICE {
            return None;
        }
        let lanes = self.chips.iter().map(|chip| chip.lane().mask());
        let mut taken = 0;
        for (&(at, value), &held) in first.iter().zip(held) {
            let holds =
                |mask: &Word| (held ^ value) & mask == 0 && (before(at) ^ value) & mask != 0;
            taken |= lanes.clone().filter(holds).fold(0, |all, mask| all | mask);
        }
        if taken != 0 {
            return Some(Answer::TakesWrites { lanes: taken });
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
            let script =
                enter.iter().fold(self.open(), |script, &(at, word)| script.write(at, word));
            read_all(script, chunk).finally(|script| self.back(script)).script()
        });
        Some(scripts.collect())
    }

    fn open(&self) -> Builder {
        Builder::new(self.shape).lanes(self.lanes(), self.rest())
    }

    fn back(&self, script: Builder) -> Builder {
        self.writes(Action::Reset).iter().fold(script, |script, &(at, word)| script.write(at, word))
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
        Some((guard, rest)) if guard.lanes.is_empty() => unless_held(script, rest, body),
        Some((guard, rest)) => {
            unless_any(script.read(guard.at), &guard.lanes, guard.value, |script| {
                unless_held(script, rest, body)
            })
        }
    }
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
mod tests {
    use super::*;
    use crate::bus::Lane;
    use crate::bus::script::{LaneRule, Limits, SlotRule, check, list};
    use crate::chips::Family;

    fn asking(lanes: &[(u8, u8)], way: Way) -> Asking {
        let chips = lanes.iter().map(|&(first, bits)| Wiring::straight(Lane { first, bits }));
        Asking {
            shape: ShapeId(0),
            width: Width::W32,
            base: WordAddress(0),
            chips: chips.collect(),
            others: Vec::new(),
            way,
        }
    }

    const PAIR: &[(u8, u8)] = &[(0, 16), (16, 16)];
    const FOUR: &[(u8, u8)] = &[(0, 8), (8, 8), (16, 8), (24, 8)];

    fn addresses(asking: &Asking) -> Vec<u32> {
        asking.written().iter().map(|at| at.0).collect()
    }

    #[test]
    fn a_permit_for_the_listed_addresses_covers_every_write() {
        let of = |family, bits, lanes| {
            let ways = Way::of_family(family, bits);
            ways.into_iter().map(|way| addresses(&asking(lanes, way))).collect::<Vec<_>>()
        };
        assert_eq!(of(Family::Amd, 16, PAIR), [vec![0, 0x55, 0x2AA, 0x555]]);
        assert_eq!(of(Family::Jedec, 8, FOUR), [vec![0, 0x2AAA, 0x5555]]);
        assert_eq!(of(Family::Intel, 16, PAIR), [vec![0]]);
        assert_eq!(
            of(Family::Amd, 8, FOUR),
            [vec![0, 0x55, 0x2AA, 0x555], vec![0, 0xAA, 0x555, 0xAAA]]
        );
        // A plain reset would be data to a page-write part.
        assert_eq!(of(Family::Page, 8, FOUR), [vec![0x2AAA, 0x5555]]);
    }

    /// The kit's smallest board takes so many bytes and remembers so many words.
    #[test]
    fn every_script_of_every_way_fits_a_small_adapter_and_the_checker() {
        const BYTES: usize = 384;
        const EMITTED: usize = 32;
        let rule = SlotRule { width: Width::W32, lanes: LaneRule::Rest };
        let limits =
            Limits { bytes: BYTES as u32, emitted: EMITTED as u32, ..Limits::with_shapes([rule]) };
        let reads = reads_a_script(BYTES, EMITTED);
        assert_eq!((reads, reads_a_script(0, 0), reads_a_script(512, 254)), (32, 1, 64));
        let apart: Vec<_> = (0..100).map(|n| WordAddress(0x20_0000 + n * 2)).collect();
        for ((lanes, bits), base) in [((PAIR, 16), 0), ((FOUR, 8), 0), ((FOUR, 8), 0x20_0000)] {
            let families = Family::ALL.map(|family| Way::of_family(family, bits)).concat();
            for way in [families, Way::of_unknown(bits)].concat() {
                let asking = Asking { base: WordAddress(base), ..asking(lanes, way) };
                let query = asking.query_addresses(0..QUERY_WORDS);
                let more = [
                    asking.query(&query, reads),
                    asking.query(&apart, reads),
                    asking.codes(&apart, reads),
                ];
                let scripts = more.into_iter().flatten().flat_map(Result::unwrap);
                for script in scripts.chain([asking.ids(|_| 0), asking.reset()].map(Result::unwrap))
                {
                    assert!(script.0.len() <= BYTES, "{way}: {} bytes", script.0.len());
                    check(&script, &limits).unwrap_or_else(|error| panic!("{way}: {error}"));
                }
            }
        }
    }

    #[test]
    fn what_holds_the_first_command_gets_no_second() {
        let way = Way::of_family(Family::Amd, 16)[0];
        let text = list(&asking(PAIR, way).ids(|_| 0).unwrap());
        let first: Vec<_> = text.lines().skip(4).take(7).map(|line| &line[6..]).collect();
        assert_eq!(
            first,
            [
                "  write AA00AA at 0x555",
                "  D = read 0x555",
                "  emit D",
                "  D = read 0x555",
                "  skip 2 if D under FFFF is AA",
                "  skip 1 if D under FFFF0000 is AA0000",
                "  write 550055 at 0x2AA",
            ],
            "{text}"
        );
        // A lane that held it before tells nothing; the second command is judged there, too.
        let held = |at: WordAddress| if at.0 == 0x555 { 0x00AA } else { 0 };
        let text = list(&asking(PAIR, way).ids(held).unwrap());
        assert!(!text.contains("under FFFF is AA\n"), "{text}");
        assert!(text.contains("under FFFF is 55\n"), "{text}");
    }

    #[test]
    fn memory_that_takes_writes_is_told_from_flash() {
        let way = Way::of_family(Family::Amd, 16)[0];
        let asking = asking(PAIR, way);
        let ids = [0x01_0001, 0x225B_225B, 0, 0, 0, 0, 0, 0x01_0001, 0x225B_225B];
        let answer = |held: [Word; 2], before| {
            asking.answer(&[&held[..], &ids].concat(), |_| before).unwrap()
        };
        let Answer::Words { ids: words, moved } = answer([0, 0], 0) else { panic!("flash") };
        assert_eq!((words.len(), moved), (7, 0));
        assert_eq!(answer([0x00AA_1234, 0], 0), Answer::TakesWrites { lanes: 0xFFFF_0000 });
        // Blank flash that held the command before is no such memory.
        assert!(matches!(answer([0xAA_00AA, 0], 0xAA_00AA), Answer::Words { .. }));
        assert_eq!(asking.answer(&[1, 2, 3], |_| 0), None);
    }

    #[test]
    fn chips_beside_get_a_reset() {
        let way = Way::of_family(Family::Intel, 16)[0];
        let mut one = asking(&PAIR[..1], way);
        one.others = vec![Wiring::straight(Lane { first: 16, bits: 16 })];
        assert_eq!((one.every(0x90), one.lanes()), (0x00FF_0090, 0xFFFF));
    }
}
