//! Where unlock cycles go, and the other addresses that change with the bus.

use super::Family;
use serde::Deserialize;

/// How a chip is wired to its data lines; chip addresses count bytes or words accordingly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BusMode {
    /// A part with 8 data lines and no others: addresses count bytes.
    ByteOnly,
    /// 16 data lines: addresses count words.
    Word,
    /// An x8/x16 part with 8 of its lines in use: addresses count bytes, and the lowest address
    /// line is one that word mode does not have.
    Byte,
}

impl BusMode {
    /// The chip address of what stands at `word` in word mode. Ids and query tables double in
    /// byte mode, they do not on x8-only parts (datasheets Am29LV160D table 9, Am29F016D table
    /// 9, Am29LV004 table 5, J3 65 nm table 27).
    pub const fn scaled(self, word: u32) -> u32 {
        match self {
            Self::ByteOnly | Self::Word => word,
            Self::Byte => word * 2,
        }
    }
}

/// Where the unlock cycles of a part go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
pub enum Unlock {
    /// To 555 and 2AA, in byte mode to AAA and 555.
    #[serde(rename = "555/2AA")]
    Short,
    /// To 5555 and 2AAA.
    #[serde(rename = "5555/2AAA")]
    Long,
    /// The part looks at their data only.
    #[serde(rename = "any")]
    Any,
    /// The part has no unlock cycles.
    #[serde(rename = "none")]
    None,
    /// Sources contradict each other or do not tell; nothing that needs them may be sent.
    #[serde(rename = "unsure")]
    Unsure,
}

impl Unlock {
    /// Where a family's unlock cycles go unless a part says otherwise.
    pub const fn usual(family: Option<Family>) -> Self {
        match family {
            Some(Family::Amd) => Self::Short,
            Some(Family::Jedec | Family::Page) => Self::Long,
            Some(Family::Intel) => Self::None,
            None => Self::Unsure,
        }
    }

    /// The chip addresses of both unlock cycles (datasheets Am29LV160D table 9, Am29F016D table
    /// 9; SST39SF S71147 table 4); `None` where they are not known. Of 5555 and 2AAA no x8/x16
    /// part in byte mode is known.
    pub const fn addresses(self, mode: BusMode) -> Option<[u32; 2]> {
        match (self, mode) {
            (Self::Short | Self::Any, BusMode::Byte) => Some([0xAAA, 0x555]),
            (Self::Short | Self::Any, _) => Some([0x555, 0x2AA]),
            (Self::Long, BusMode::ByteOnly | BusMode::Word) => Some([0x5555, 0x2AAA]),
            (Self::Long, BusMode::Byte) | (Self::None | Self::Unsure, _) => None,
        }
    }
}
