//! Ways to ask a chip of which little or nothing is known, in the order in which they are tried.

use super::{BusMode, Family, Unlock};
use std::fmt;

/// One way of asking: whose commands, with which unlock cycles, on which kind of bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Way {
    /// Whose commands.
    pub family: Family,
    /// Where unlock cycles go.
    pub unlock: Unlock,
    /// How the chip is wired.
    pub mode: BusMode,
}

impl Way {
    /// The ways for a chip on `bits` data lines whose sheet names a family.
    ///
    /// On 8 lines a part that has no others goes first: its unlock addresses mean nothing to one
    /// of two widths, and the other way round.
    pub fn of_family(family: Family, bits: u8) -> Vec<Self> {
        let unlock = Unlock::usual(Some(family));
        let modes: &[BusMode] = match (bits, family) {
            (16, _) => &[BusMode::Word],
            (_, Family::Jedec | Family::Page) => &[BusMode::ByteOnly],
            _ => &[BusMode::ByteOnly, BusMode::Byte],
        };
        modes.iter().map(|&mode| Self { family, unlock, mode }).collect()
    }

    /// The ways for a chip of which nothing is known. 5555 and 2AAA go first, since a page-write
    /// part without protection takes every other sequence for data and wipes a page; its exit
    /// is one that such a part takes, too.
    pub fn of_unknown(bits: u8) -> Vec<Self> {
        let first = Self::of_family(Family::Page, bits);
        let rest = [Family::Amd, Family::Intel].map(|family| Self::of_family(family, bits));
        first.into_iter().chain(rest.into_iter().flatten()).collect()
    }
}

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.unlock.addresses(self.mode) {
            Some([one, two]) => write!(f, "{one:X}/{two:X}")?,
            None => write!(f, "90 without unlock cycles")?,
        }
        match self.mode {
            BusMode::Byte => write!(f, " in byte mode"),
            BusMode::ByteOnly | BusMode::Word => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_order_is_that_which_wipes_nothing() {
        let ways = Way::of_unknown(8);
        let said: Vec<_> = ways.iter().map(Way::to_string).collect();
        assert_eq!(
            said,
            [
                "5555/2AAA",
                "555/2AA",
                "AAA/555 in byte mode",
                "90 without unlock cycles",
                "90 without unlock cycles in byte mode"
            ]
        );
        assert_eq!(ways[0].family, Family::Page);
        assert_eq!(Way::of_unknown(16).len(), 3);
        assert_eq!(Way::of_family(Family::Jedec, 8).len(), 1);
        assert_eq!(Way::of_family(Family::Amd, 16)[0].mode, BusMode::Word);
    }
}
