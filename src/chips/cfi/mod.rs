//! The Common Flash Interface: the table in which a chip describes itself.
//!
//! Fields as datasheets print them (Am29LV160D, 28F320W30, M29FxxxFT, P30; JESD68.01 and JEP137
//! themselves were not at hand). A chip shows one byte per offset; [`Query`] picks the bytes out
//! of what the bus gives. A table that cannot be right is an error or leaves a doubt in its
//! [`Geometry`]; nothing is guessed.

mod amd;
mod atmel;
mod command_set;
mod error;
mod intel;
mod order;
mod primary;
mod query;
mod regions;
#[cfg(test)]
mod tests;
mod times;
mod volts;

pub use amd::{AmdTable, EraseSuspend};
pub use atmel::AtmelTable;
pub use command_set::{CommandSet, Interface};
pub use error::CfiError;
pub use intel::{IntelTable, ProtectionField};
pub use primary::{Primary, Version};
pub use query::{Query, Spacing};
pub use times::{Time, Times};
pub use volts::Volts;

use super::{Family, Geometry, MakerId, Region};
use command_set::Layout;

/// What a chip says about itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cfi {
    /// The primary command set (13).
    pub command_set: CommandSet,
    /// Where its extended table starts; 0 for none (15).
    pub primary_at: u16,
    /// A second command set and the place of its extended table (17, 19).
    pub alternate: Option<(CommandSet, u16)>,
    /// VCC for program and erase (1B, 1C).
    pub vcc: Volts,
    /// VPP for program and erase; `None` if the part needs none (1D, 1E).
    pub vpp: Option<Volts>,
    /// How long each operation takes (1F to 26).
    pub times: Times,
    /// Bytes of the chip (27).
    pub size_bytes: u64,
    /// Its bus (28).
    pub interface: Interface,
    /// Bytes of the write buffer. `None` also where the table gives a length but no time (20 is
    /// 00): such parts have none, MBM29LV650UE is one (2A).
    pub write_buffer: Option<u32>,
    /// The erase regions in the order of the table, which is not always that of addresses.
    pub listed: Vec<Region>,
    /// The extended table.
    pub primary: Primary,
}

impl Cfi {
    /// Reads a table. `maker` decides between two layouts of the extended table; without it an
    /// Atmel part is read like an AMD one, which shows as an unread extended table or a doubt.
    pub fn decode(query: &Query, maker: Option<MakerId>) -> Result<Self, CfiError> {
        let start = query.bytes();
        if !start.starts_with(b"QRY") {
            return Err(CfiError::NoQuery { got: start.iter().copied().take(3).collect() });
        }
        let command_set = CommandSet(query.pair(0x13, "the command set")?);
        let primary_at = query.pair(0x15, "the place of the extended table")?;
        let other = CommandSet(query.pair(0x17, "the second command set")?);
        let other_at = query.pair(0x19, "the place of the second extended table")?;
        // In the order of the table, so that an error names the first place that is wrong.
        let vcc = volts::vcc(query)?;
        let vpp = volts::vpp(query)?;
        let times = Times::decode(query)?;
        let size = exponent(query, 0x27, 0x0A..=0x24, "the size", "0A to 24 (1K to 64G)")?;
        let interface = Interface::of(query.pair(0x28, "the interface")?);
        let write_buffer = write_buffer(query, &times)?;
        let listed = regions::listed(query)?;
        let free = regions::end(listed.len());
        Ok(Self {
            command_set,
            primary_at,
            alternate: (other.0 != 0).then_some((other, other_at)),
            vcc,
            vpp,
            times,
            size_bytes: 1 << size,
            interface,
            write_buffer,
            primary: Primary::decode(query, command_set, primary_at, free, maker),
            listed,
        })
    }

    /// The family of commands that the primary command set belongs to; `None` for one that this
    /// program has no commands for.
    pub const fn family(&self) -> Option<Family> {
        match self.command_set.layout() {
            Layout::Amd if self.command_set.0 == 0x0701 => Some(Family::Jedec),
            Layout::Amd => Some(Family::Amd),
            Layout::Intel => Some(Family::Intel),
            Layout::Other => None,
        }
    }

    /// Size and sectors in address order, as far as the table alone can tell.
    pub fn geometry(&self) -> Geometry {
        order::geometry(self)
    }
}

/// The byte at `offset`, which must be one of `known`.
fn exponent(
    query: &Query,
    offset: u16,
    known: std::ops::RangeInclusive<u8>,
    what: &'static str,
    expected: &'static str,
) -> Result<u8, CfiError> {
    let got = query.byte(offset, what)?;
    let wrong = CfiError::Value { offset, what, expected, got: u32::from(got) };
    if known.contains(&got) { Ok(got) } else { Err(wrong) }
}

fn write_buffer(query: &Query, times: &Times) -> Result<Option<u32>, CfiError> {
    let (what, expected) = ("the length of the write buffer", "0000 to 0010 (none to 64K)");
    let got = query.pair(0x2A, what)?;
    if got > 0x10 {
        return Err(CfiError::Value { offset: 0x2A, what, expected, got: u32::from(got) });
    }
    Ok((got > 0 && times.buffer.is_some()).then(|| 1 << got))
}
