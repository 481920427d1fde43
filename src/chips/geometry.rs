//! Sizes and sectors of one chip, and why they may not be trusted.

use std::fmt;
use thiserror::Error;

/// Neighbouring sectors of one size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Region {
    /// How many.
    pub count: u32,
    /// The bytes of each.
    pub bytes: u64,
}

impl Region {
    /// The bytes of all of them; what does not fit in 64 bits is the largest number.
    pub const fn total(self) -> u64 {
        self.bytes.saturating_mul(self.count as u64)
    }
}

impl fmt::Display for Region {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} x {}", self.count, Size(self.bytes))
    }
}

/// A number of bytes as people write it: `64K`, `2M`, `128`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Size(pub u64);

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            0 => write!(f, "0"),
            n if n % (1 << 20) == 0 => write!(f, "{}M", n >> 20),
            n if n % (1 << 10) == 0 => write!(f, "{}K", n >> 10),
            n => write!(f, "{n}"),
        }
    }
}

/// The bytes of all `regions`; what does not fit in 64 bits is the largest number.
pub fn total(regions: &[Region]) -> u64 {
    regions.iter().fold(0, |sum, region| sum.saturating_add(region.total()))
}

/// `regions` as people write them: `1 x 16K, 2 x 8K`.
pub fn listed(regions: &[Region]) -> String {
    regions.iter().map(Region::to_string).collect::<Vec<_>>().join(", ")
}

/// Where the smaller sectors are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Boot {
    /// At the highest addresses.
    Top,
    /// At the lowest addresses.
    Bottom,
    /// Nowhere: all sectors have one size.
    Uniform,
    /// At both ends.
    Dual,
    /// Not known.
    Unknown,
}

impl Boot {
    /// What `regions` in address order show.
    pub fn of(regions: &[Region]) -> Self {
        match regions {
            [] => Self::Unknown,
            [_] => Self::Uniform,
            [first, .., last] if first.bytes < last.bytes => Self::Bottom,
            [first, .., last] if first.bytes > last.bytes => Self::Top,
            _ => Self::Dual,
        }
    }
}

impl fmt::Display for Boot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Top => "top boot",
            Self::Bottom => "bottom boot",
            Self::Uniform => "uniform",
            Self::Dual => "boot sectors at both ends",
            Self::Unknown => "boot end unknown",
        })
    }
}

/// The sizes of one chip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Geometry {
    /// Bytes of the chip.
    pub size_bytes: u64,
    /// Sectors in address order, lowest first; as listed if `doubt` says the order is unknown.
    pub regions: Vec<Region>,
    /// A coarser unit that covers the same bytes, for chips that can erase both.
    pub blocks: Option<Region>,
    /// Where the smaller sectors are.
    pub boot: Boot,
    /// Why no sector may be erased by this geometry; `None` if it may.
    pub doubt: Option<Doubt>,
}

impl Geometry {
    /// The geometry of `regions` in address order, which must fill the chip.
    pub fn in_order(size_bytes: u64, regions: Vec<Region>) -> Self {
        let sum = total(&regions);
        let doubt = (sum != size_bytes).then_some(Doubt::Inconsistent { size_bytes, sum });
        let boot = if doubt.is_some() { Boot::Unknown } else { Boot::of(&regions) };
        Self { size_bytes, regions, blocks: None, boot, doubt }
    }

    /// The geometry of a chip that only erases as a whole.
    pub fn whole(size_bytes: u64) -> Self {
        let regions = vec![Region { count: 1, bytes: size_bytes }];
        let doubt = Some(Doubt::OnlyWhole);
        Self { size_bytes, regions, blocks: None, boot: Boot::Uniform, doubt }
    }

    /// A chip of which only the size is known.
    pub const fn only_size(size_bytes: u64) -> Self {
        let doubt = Some(Doubt::NoSectors);
        Self { size_bytes, regions: Vec::new(), blocks: None, boot: Boot::Unknown, doubt }
    }

    /// Number of sectors; 0 while they are not known.
    pub fn sectors(&self) -> u64 {
        self.regions.iter().map(|region| u64::from(region.count)).sum()
    }
}

impl fmt::Display for Geometry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} bytes", Size(self.size_bytes))?;
        if !self.regions.is_empty() {
            write!(f, ", {}", listed(&self.regions))?;
        }
        if let Some(blocks) = self.blocks {
            write!(f, " (also {blocks})")?;
        }
        write!(f, ", {}", self.boot)?;
        match &self.doubt {
            Some(doubt) => write!(f, "; no sector erase: {doubt}"),
            None => Ok(()),
        }
    }
}

/// Why no sector may be erased by a geometry.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Doubt {
    /// The query table cannot tell which end its list starts from.
    #[error(
        "the sectors may lie in the listed or in the reverse order ({0}); only an exact id can tell"
    )]
    OrderUnknown(OrderDoubt),
    /// The sectors do not fill the chip.
    #[error("the chip is said to hold {size_bytes} bytes, its sectors sum up to {sum}")]
    Inconsistent {
        /// Bytes of the chip.
        size_bytes: u64,
        /// Bytes of all its sectors.
        sum: u64,
    },
    /// The chip knows no smaller unit than itself.
    #[error("this chip only erases as a whole")]
    OnlyWhole,
    /// Nothing tells the sectors.
    #[error("the sectors of this chip are not known")]
    NoSectors,
    /// Parts with the same ids have different sectors.
    #[error("this chip is {0}, whose sectors differ")]
    PartsDiffer(String),
    /// The query table and the identification table say different things.
    #[error("the chip's query table says {table}, the part list says {listed} for {part}")]
    IdDisagrees {
        /// Sizes as the query table says.
        table: String,
        /// Sizes as the identification table says.
        listed: String,
        /// The part.
        part: String,
    },
}

/// Why the order of a list of sectors is unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum OrderDoubt {
    /// An extended table whose boot flag is not to be trusted.
    #[error("extended table {major}.{minor}, before 1.1, has no boot flag to trust")]
    TooOld {
        /// Major version.
        major: u8,
        /// Minor version.
        minor: u8,
    },
    /// The boot flag is beyond the bytes that were read.
    #[error("the boot flag was not read")]
    NoFlag,
    /// A boot flag that says nothing about unequal sectors.
    #[error("boot flag {0:02X} does not name an end")]
    Flag(u8),
    /// A boot flag against the list it describes.
    #[error("boot flag {0:02X}, but the list has its larger sectors first")]
    FlagAgainstList(u8),
    /// A maker whose boot flag is known to be wrong on some parts.
    #[error("the boot byte of this maker's extended table is the wrong way round on some parts")]
    MakerUnsure,
    /// No extended table, or one that could not be read.
    #[error("no extended table could be read")]
    NoTable,
    /// A command set whose lists have no known order.
    #[error("the order in tables of this command set is not known")]
    CommandSet,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn region(count: u32, bytes: u64) -> Region {
        Region { count, bytes }
    }

    #[test]
    fn the_small_end_names_the_boot_end() {
        let (small, large) = (region(8, 0x2000), region(31, 0x1_0000));
        assert_eq!(Boot::of(&[small, large]), Boot::Bottom);
        assert_eq!(Boot::of(&[large, small]), Boot::Top);
        assert_eq!(Boot::of(&[large]), Boot::Uniform);
        assert_eq!(Boot::of(&[small, large, small]), Boot::Dual);
        assert_eq!(Boot::of(&[]), Boot::Unknown);
    }

    #[test]
    fn sectors_that_do_not_fill_the_chip_are_not_trusted() {
        let geometry = Geometry::in_order(0x1_0000, vec![region(1, 0x8000)]);
        assert_eq!(
            geometry.to_string(),
            "64K bytes, 1 x 32K, boot end unknown; no sector erase: the chip is said to hold \
             65536 bytes, its sectors sum up to 32768"
        );
        assert_eq!(geometry.sectors(), 1);
        assert_eq!(Geometry::in_order(0x8000, vec![region(1, 0x8000)]).doubt, None);
        assert_eq!(total(&[region(u32::MAX, u64::MAX), region(1, 1)]), u64::MAX);
    }
}
