//! One part of the identification table.

use crate::bus::{Millivolts, Width};
use crate::chips::cfi::{Times, Volts};
use crate::chips::{Family, Geometry, MakerId, Unlock};
use serde::Deserialize;

/// The data buses that a part can be used with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
pub enum Bus {
    /// 8 lines only.
    #[serde(rename = "x8")]
    X8,
    /// 16 lines only.
    #[serde(rename = "x16")]
    X16,
    /// 8 or 16 lines, chosen by a pin.
    #[serde(rename = "x8/x16")]
    X8X16,
}

impl Bus {
    /// True if the part can be read with `width`.
    pub const fn has(self, width: Width) -> bool {
        match width {
            Width::W8 => matches!(self, Self::X8 | Self::X8X16),
            Width::W16 => matches!(self, Self::X16 | Self::X8X16),
            Width::W32 => false,
        }
    }
}

/// One part: what it answers, and what is known of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// The maker that it answers.
    pub maker: MakerId,
    /// The device id it answers on its widest bus: one, or the three of a three-cycle id.
    pub device: Vec<u16>,
    /// Its data bus.
    pub bus: Bus,
    /// Size and sectors.
    pub geometry: Geometry,
    /// Its family of commands; `None` if this program has no commands for it.
    pub family: Option<Family>,
    /// Where its unlock cycles go.
    pub unlock: Unlock,
    /// True if it is known to have the unlock bypass.
    pub bypass: bool,
    /// Bytes of a page, of a page-write part; `None` if not known.
    pub page: Option<u32>,
    /// True if it has a query table; `None` if that is not known.
    pub cfi: Option<bool>,
    /// Its supply, if known.
    pub vcc: Option<Volts>,
    /// The VPP it needs to be changed; `None` if none, or none known.
    pub vpp: Option<Millivolts>,
    /// How long its operations take, as far as the file tells.
    pub times: Times,
    /// Where all this comes from.
    pub source: String,
    /// What else its user should know.
    pub note: Option<String>,
    /// The file its row stands in.
    pub file: String,
}

impl Part {
    /// True if its row, or something in it, is from memory.
    pub fn is_from_memory(&self) -> bool {
        self.source.contains("from memory")
    }

    /// True if the part may answer `maker` and `device` on a bus of `width` for one chip.
    ///
    /// On 8 lines only the lower byte of an id shows. On 16 lines an upper byte of 00 is taken
    /// too: some makers printed such ids, some parts of others answer so (0049 for 2249 on an
    /// M29W160DB). Of a longer id fewer words may be given; words beyond the part's own are not
    /// looked at, since an address without an id may show anything.
    pub fn may_answer(&self, maker: MakerId, device: &[u16], width: Width) -> bool {
        let same = |(own, read): (&u16, &u16)| match width {
            Width::W8 => own & 0xFF == *read,
            _ => own == read || (*read <= 0xFF && own & 0xFF == *read),
        };
        self.maker.may_answer(maker)
            && self.bus.has(width)
            && !device.is_empty()
            && self.device.iter().zip(device).all(same)
    }
}
