//! Types of chips: what a datasheet says of one, as data.

use crate::bus::Nanos;
use serde::Deserialize;
use std::ops::Range;

/// The command set of a chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    /// AMD and Fujitsu: unlock 555/2AA, status bits on the data lines.
    Amd,
    /// The older JEDEC set: unlock 5555/2AAA, no erase window, no error bit.
    Jedec,
    /// Pages that are loaded, then erased and written in one cycle.
    Page,
    /// Intel and Sharp: one-cycle commands, a status register.
    Intel,
}

/// How lock bits behave.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Locks {
    /// There are none that a command changes.
    #[default]
    None,
    /// Every block is locked at power-up and unlocked one by one.
    AtPowerUp,
    /// They stay without supply; clearing clears all of them.
    ClearAll,
}

/// A typical time and the longest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ChipTime {
    /// What it usually takes.
    pub typical: Nanos,
    /// What the datasheet allows.
    pub longest: Nanos,
}

/// A chip as its datasheet describes it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChipType {
    /// The part number.
    pub name: String,
    /// Its command set.
    pub family: Family,
    /// Bytes.
    pub size: u32,
    /// Data lines it can be wired with, the usual number first.
    pub widths: Vec<u8>,
    /// Sectors in rising order: bytes of each, how many.
    pub sectors: Vec<(u32, u32)>,
    /// Bytes of a block erase; 0 if there is none.
    pub block: u32,
    /// Maker code.
    pub maker: u8,
    /// Device codes: one word, or three read at 1, 0E and 0F.
    pub devices: Vec<u16>,
    /// Word addresses of the two unlock writes.
    pub unlock: [u32; 2],
    /// Address bits that count for them.
    pub unlock_bits: u8,
    /// CFI bytes from offset 10 on; empty if it has none.
    pub cfi: Vec<u8>,
    /// It has the unlock bypass.
    pub bypass: bool,
    /// Lock bits.
    pub locks: Locks,
    /// Programming can be suspended.
    pub program_suspend: bool,
    /// Bytes of the write buffer; 0 if there is none.
    pub buffer: u32,
    /// Programming one word.
    pub program: ChipTime,
    /// Programming the write buffer.
    pub buffered: ChipTime,
    /// Erasing a sector; the whole cycle of a page.
    pub erase: ChipTime,
    /// Erasing the chip.
    pub chip_erase: ChipTime,
    /// From the suspend command to suspended; zero if it cannot be suspended.
    pub suspend: ChipTime,
    /// Setting a lock bit.
    pub lock: ChipTime,
    /// Clearing all lock bits.
    pub clear_locks: ChipTime,
    /// The time in which the next byte of a page has to come.
    pub load_window: Nanos,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    name: String,
    family: Family,
    size: u32,
    widths: Vec<u8>,
    sectors: Vec<(u32, u32)>,
    #[serde(default)]
    block: u32,
    maker: u8,
    devices: Vec<u16>,
    #[serde(default)]
    unlock: [u32; 2],
    #[serde(default)]
    unlock_bits: u8,
    #[serde(default)]
    cfi: String,
    #[serde(default)]
    bypass: bool,
    #[serde(default)]
    locks: Locks,
    #[serde(default)]
    program_suspend: bool,
    #[serde(default)]
    buffer: u32,
    #[serde(default)]
    program_us: [u64; 2],
    #[serde(default)]
    buffer_us: [u64; 2],
    erase_ms: [u64; 2],
    #[serde(default)]
    chip_erase_ms: [u64; 2],
    #[serde(default)]
    suspend_us: [u64; 2],
    #[serde(default)]
    lock_us: [u64; 2],
    #[serde(default)]
    clear_locks_ms: [u64; 2],
    #[serde(default)]
    load_window_us: u64,
}

const TYPES: [&str; 12] = [
    include_str!("types/s29al008j.toml"),
    include_str!("types/am29lv160db.toml"),
    include_str!("types/mbm29lv320be.toml"),
    include_str!("types/s29gl064n.toml"),
    include_str!("types/am29lv040b.toml"),
    include_str!("types/sst39vf040.toml"),
    include_str!("types/sst39vf1601.toml"),
    include_str!("types/at29c040a.toml"),
    include_str!("types/28f320j3a.toml"),
    include_str!("types/28f320c3b.toml"),
    include_str!("types/small-a.toml"),
    include_str!("types/small-i.toml"),
];

fn micros([typical, longest]: [u64; 2]) -> ChipTime {
    ChipTime { typical: Nanos::from_micros(typical), longest: Nanos::from_micros(longest) }
}

fn millis([typical, longest]: [u64; 2]) -> ChipTime {
    micros([typical * 1_000, longest * 1_000])
}

/// Bytes of pairs of hexadecimal digits; line ends between them do not count.
fn bytes_of(hex: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u32>> =
        hex.chars().filter(|c| !c.is_whitespace()).map(|c| c.to_digit(16)).collect();
    let digits = digits?;
    let pairs = digits.chunks_exact(2);
    pairs.remainder().is_empty().then(|| pairs.map(|p| (p[0] << 4 | p[1]) as u8).collect())
}

impl ChipType {
    fn parse(text: &str) -> Option<Self> {
        let raw: Raw = crate::notation::read(text).ok()?;
        Some(Self {
            cfi: bytes_of(&raw.cfi)?,
            program: micros(raw.program_us),
            buffered: micros(raw.buffer_us),
            erase: millis(raw.erase_ms),
            chip_erase: millis(raw.chip_erase_ms),
            suspend: micros(raw.suspend_us),
            lock: micros(raw.lock_us),
            clear_locks: millis(raw.clear_locks_ms),
            load_window: Nanos::from_micros(raw.load_window_us),
            name: raw.name,
            family: raw.family,
            size: raw.size,
            widths: raw.widths,
            sectors: raw.sectors,
            block: raw.block,
            maker: raw.maker,
            devices: raw.devices,
            unlock: raw.unlock,
            unlock_bits: raw.unlock_bits,
            bypass: raw.bypass,
            locks: raw.locks,
            program_suspend: raw.program_suspend,
            buffer: raw.buffer,
        })
    }

    /// The built-in chip type of this name; letter case does not count.
    pub fn builtin(name: &str) -> Option<Self> {
        TYPES
            .iter()
            .filter_map(|text| Self::parse(text))
            .find(|kind| kind.name.eq_ignore_ascii_case(name))
    }

    /// The names of the built-in chip types.
    pub fn builtin_names() -> impl Iterator<Item = String> {
        TYPES.iter().filter_map(|text| Some(Self::parse(text)?.name))
    }

    /// Words of a chip wired with `width` data lines.
    pub fn words(&self, width: u8) -> u32 {
        self.size / u32::from(width / 8).max(1)
    }

    /// The sectors in words of `width` lines, lowest first.
    pub fn sector_ranges(&self, width: u8) -> Vec<Range<u32>> {
        let bytes = u32::from(width / 8).max(1);
        let mut start = 0;
        let sizes = self.sectors.iter().flat_map(|(size, count)| (0..*count).map(|_| *size));
        sizes
            .map(|size| {
                let range = start..start + size / bytes;
                start = range.end;
                range
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_type_reads_and_its_sectors_fill_it() {
        assert_eq!(ChipType::builtin_names().count(), TYPES.len());
        for text in TYPES {
            let kind = ChipType::parse(text).unwrap();
            for width in &kind.widths {
                let ranges = kind.sector_ranges(*width);
                assert_eq!(ranges.last().unwrap().end, kind.words(*width), "{}", kind.name);
            }
            assert!(kind.words(kind.widths[0]).is_power_of_two());
            assert!(kind.erase.typical <= kind.erase.longest);
        }
        assert!(ChipType::builtin("s29AL008j").is_some() && ChipType::builtin("X").is_none());
    }

    /// Offsets 27 (size) and 2C on (regions) of JESD68.01, decoded by hand here.
    #[test]
    fn cfi_bytes_agree_with_size_and_sectors() {
        for text in TYPES {
            let kind = ChipType::parse(text).unwrap();
            let at = |offset: usize| kind.cfi.get(offset - 0x10).copied();
            if kind.cfi.is_empty() {
                continue;
            }
            assert_eq!(kind.cfi[..3], *b"QRY", "{}", kind.name);
            assert_eq!(1_u32 << at(0x27).unwrap(), kind.size, "{}", kind.name);
            let regions: Vec<(u32, u32)> = (0..usize::from(at(0x2C).unwrap()))
                .map(|n| {
                    let le = |o: usize| u32::from(at(0x2D + 4 * n + o).unwrap());
                    ((le(2) | le(3) << 8) * 256, (le(0) | le(1) << 8) + 1)
                })
                .collect();
            if kind.family == Family::Jedec {
                assert_eq!(regions, [(0x1000, 512), (0x1_0000, 32)]);
            } else {
                assert_eq!(regions, kind.sectors, "{}", kind.name);
            }
            let primary = usize::from(at(0x15).unwrap());
            if primary != 0 {
                assert_eq!(kind.cfi[primary - 0x10..][..3], *b"PRI", "{}", kind.name);
            }
        }
    }
}
