//! The parts of a record.

use super::NOT_LOOKED;
use crate::bus::{Lane, Precharge, Width, Word, WordAddress};
use crate::image::{Doubt, Unsteady, UnsteadyWord};
use crate::shelf::{Part, text};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// The module sheet as it was when the capture was begun.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct SheetRecord {
    /// Its name.
    pub(crate) name: String,
    /// SHA-256 of its text.
    pub(crate) sha256: String,
    /// All of it.
    pub(crate) text: String,
}

/// The adapter that read the module.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct AdapterRecord {
    /// The board's name.
    pub(crate) board: String,
    /// The firmware's name and version.
    pub(crate) firmware: String,
    /// The boot id of each of its starts that the capture saw.
    pub(crate) boot_ids: Vec<String>,
    /// The line rates used, in bits a second.
    pub(crate) rates: Vec<u32>,
}

/// How the line did: frames, and bytes of both directions.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct LinkRecord {
    /// Frames sent.
    pub(crate) sent: u64,
    /// Good frames received.
    pub(crate) received: u64,
    /// Frames that failed their checks.
    pub(crate) damaged: u64,
    /// Good frames that answered nothing outstanding.
    pub(crate) stray: u64,
    /// Requests sent again.
    pub(crate) repeated: u64,
    /// Bytes sent.
    pub(crate) bytes_sent: u64,
    /// Bytes received.
    pub(crate) bytes_received: u64,
}

/// One space, or the part of it that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct SpaceRecord {
    /// Its name.
    pub(crate) name: String,
    /// Flash, ram, rom: as the sheet says.
    #[serde(default)]
    pub(crate) kind: String,
    /// The width of its words, in bits.
    #[serde(with = "text::width")]
    pub(crate) width: Width,
    /// The word address where the space begins.
    #[serde(with = "text::address")]
    pub(crate) base: WordAddress,
    /// The first word read, counted from the base.
    #[serde(with = "text::address")]
    pub(crate) first: WordAddress,
    /// How many words were read.
    pub(crate) words: u32,
    /// Where they begin in the content, in bytes.
    pub(crate) offset: u64,
    /// Their length in bytes.
    pub(crate) bytes: u64,
    /// SHA-256 of them.
    pub(crate) sha256: String,
    /// CRC-32/ISO-HDLC of each block, eight hexadecimal digits.
    pub(crate) crc32: Vec<String>,
    /// The chips side by side.
    #[serde(default, rename = "chip", skip_serializing_if = "Vec::is_empty")]
    pub(crate) chips: Vec<ChipRecord>,
    /// How often it was read, and how.
    #[serde(default, rename = "pass", skip_serializing_if = "Vec::is_empty")]
    pub(crate) passes: Vec<PassRecord>,
    /// Blocks that no two passes gave alike.
    #[serde(default)]
    pub(crate) blocks_unsettled: u32,
    /// The words that did not hold still.
    #[serde(default)]
    pub(crate) unsteady: UnsteadyRecord,
    /// What agreement could not exclude.
    #[serde(default, rename = "doubt", skip_serializing_if = "Vec::is_empty")]
    pub(crate) doubts: Vec<DoubtRecord>,
}

impl SpaceRecord {
    pub(super) fn new(part: &Part, offset: u64) -> Self {
        Self {
            name: part.space.clone(),
            kind: String::new(),
            width: part.width,
            base: part.base,
            first: part.first,
            words: part.words,
            offset,
            bytes: part.bytes(),
            sha256: String::new(),
            crc32: Vec::new(),
            chips: Vec::new(),
            passes: Vec::new(),
            blocks_unsettled: 0,
            unsteady: UnsteadyRecord::default(),
            doubts: Vec::new(),
        }
    }

    /// True if the record is of the same words as `part`.
    pub(crate) fn is_of(&self, part: &Part) -> bool {
        self.name == part.space
            && self.width == part.width
            && self.base == part.base
            && self.first == part.first
            && self.words == part.words
    }
}

/// One chip, and what was found out about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct ChipRecord {
    /// Its reference on the module.
    #[serde(rename = "ref")]
    pub(crate) chip: String,
    /// Its data lines.
    pub(crate) lane: String,
    /// Maker and device codes.
    pub(crate) ids: String,
    /// Its CFI query table, as hexadecimal text.
    pub(crate) cfi: String,
    /// Which of its sectors are locked.
    pub(crate) lock_map: String,
    /// What it is, in words.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(crate) part: String,
    /// When it was asked; it is not asked while it is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) identified: Option<Timestamp>,
}

impl Default for ChipRecord {
    fn default() -> Self {
        let not_looked = || NOT_LOOKED.to_owned();
        Self {
            chip: String::new(),
            lane: String::new(),
            ids: not_looked(),
            cfi: not_looked(),
            lock_map: not_looked(),
            part: String::new(),
            identified: None,
        }
    }
}

impl ChipRecord {
    /// A chip nobody has looked at.
    pub(crate) fn new(chip: &str, lane: Lane) -> Self {
        Self { chip: chip.to_owned(), lane: lane.to_string(), ..Self::default() }
    }
}

/// One pass over the words of a space.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct PassRecord {
    /// Which pass, from 1 on.
    pub(crate) number: u32,
    /// `words` or `checksums`.
    pub(crate) kind: String,
    /// What the data lines were charged to before each read.
    pub(crate) precharge: String,
    /// Added to the address after each word.
    pub(crate) step: i16,
    /// The access time given to the chips, in nanoseconds.
    pub(crate) access_ns: u32,
    /// How many blocks were read this way.
    pub(crate) blocks: u32,
}

impl PassRecord {
    /// A pass that moved whole words.
    pub(crate) fn words(number: u32, precharge: Precharge, step: i16, access_ns: u32) -> Self {
        Self {
            number,
            kind: "words".to_owned(),
            precharge: precharge.to_string(),
            step,
            access_ns,
            blocks: 0,
        }
    }

    /// A pass that moved checksums only.
    pub(crate) fn checksums(number: u32, precharge: Precharge, step: i16, access_ns: u32) -> Self {
        let kind = "checksums".to_owned();
        Self { kind, ..Self::words(number, precharge, step, access_ns) }
    }
}

/// The words of a space that did not hold still.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct UnsteadyRecord {
    /// How many there are.
    pub(crate) total: u64,
    /// Every data line that changed somewhere.
    pub(crate) lines: Vec<String>,
    /// The first of them.
    #[serde(rename = "word", skip_serializing_if = "Vec::is_empty")]
    pub(crate) words: Vec<UnsteadyWordRecord>,
}

/// One word that did not hold still.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct UnsteadyWordRecord {
    /// Where, counted from the base of the space.
    #[serde(with = "text::address")]
    pub(crate) address: WordAddress,
    /// The bits that changed.
    #[serde(with = "text::hex")]
    pub(crate) bits: Word,
    /// The same as data lines.
    pub(crate) lines: Vec<String>,
    /// The values seen.
    #[serde(with = "text::hex_list")]
    pub(crate) seen: Vec<Word>,
    /// Did further readings agree on one value?
    pub(crate) settled: bool,
}

fn names(bits: Word) -> Vec<String> {
    (0..32).filter(|line| bits >> line & 1 == 1).map(|line| format!("D{line}")).collect()
}

impl UnsteadyRecord {
    /// The record of `unsteady`; `settled` tells of an address whether later readings agreed.
    pub(crate) fn new(unsteady: &Unsteady, settled: impl Fn(WordAddress) -> bool) -> Self {
        let words = unsteady
            .words
            .iter()
            .map(|word| UnsteadyWordRecord::new(word, settled(word.address)))
            .collect();
        Self { total: unsteady.total, lines: names(unsteady.bits), words }
    }
}

impl UnsteadyWordRecord {
    /// The record of one word.
    pub(crate) fn new(word: &UnsteadyWord, settled: bool) -> Self {
        Self {
            address: word.address,
            bits: word.bits,
            lines: names(word.bits),
            seen: word.seen.clone(),
            settled,
        }
    }
}

impl From<&UnsteadyWordRecord> for UnsteadyWord {
    fn from(word: &UnsteadyWordRecord) -> Self {
        Self { address: word.address, seen: word.seen.clone(), bits: word.bits }
    }
}

/// A doubt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct DoubtRecord {
    /// Its kind, for programs.
    #[serde(default)]
    pub(crate) kind: String,
    /// A sentence, for people.
    pub(crate) text: String,
}

impl From<&Doubt> for DoubtRecord {
    fn from(doubt: &Doubt) -> Self {
        Self { kind: doubt.kind.code().to_owned(), text: doubt.to_string() }
    }
}
