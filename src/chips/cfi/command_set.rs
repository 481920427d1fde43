//! Numbers of a query table that name a kind of command or of bus.

use std::fmt;

/// The number of a command set, at 13 and 17.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct CommandSet(pub u16);

/// Which layout of extended table a command set has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Layout {
    Amd,
    Intel,
    Other,
}

impl CommandSet {
    /// The name of the set (Linux `include/linux/mtd/cfi.h`); `None` for a number not known.
    pub const fn name(self) -> Option<&'static str> {
        Some(match self.0 {
            0x0000 => "none",
            0x0001 => "Intel/Sharp extended",
            0x0002 => "AMD/Fujitsu standard",
            0x0003 => "Intel standard",
            0x0004 => "AMD/Fujitsu extended",
            0x0006 => "Winbond standard",
            0x0020 => "ST advanced",
            0x0100 => "Mitsubishi standard",
            0x0101 => "Mitsubishi extended",
            0x0102 => "SST page write",
            0x0200 => "Intel performance",
            0x0210 => "Intel data",
            0x0701 => "SST 39VF",
            0xFFFF => "reserved",
            _ => return None,
        })
    }

    pub(super) const fn layout(self) -> Layout {
        match self.0 {
            0x0002 | 0x0004 | 0x0006 | 0x0701 => Layout::Amd,
            0x0001 | 0x0003 | 0x0200 | 0x0210 => Layout::Intel,
            _ => Layout::Other,
        }
    }
}

impl fmt::Display for CommandSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "command set {:04X}", self.0)?;
        self.name().map_or(Ok(()), |name| write!(f, " ({name})"))
    }
}

/// The bus of a part, at 28.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Interface {
    /// 8 data lines.
    X8,
    /// 16 data lines.
    X16,
    /// 8 or 16 data lines, chosen by a pin.
    X8X16,
    /// 32 data lines (from memory).
    X32,
    /// 16 or 32 data lines.
    X16X32,
    /// A number not known.
    Other(u16),
}

impl Interface {
    /// The meaning of `number` (0 to 2 in datasheets, 4 in Linux, 3 from memory).
    pub const fn of(number: u16) -> Self {
        match number {
            0 => Self::X8,
            1 => Self::X16,
            2 => Self::X8X16,
            3 => Self::X32,
            4 => Self::X16X32,
            other => Self::Other(other),
        }
    }
}

impl fmt::Display for Interface {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::X8 => f.write_str("x8"),
            Self::X16 => f.write_str("x16"),
            Self::X8X16 => f.write_str("x8/x16"),
            Self::X32 => f.write_str("x32"),
            Self::X16X32 => f.write_str("x16/x32"),
            Self::Other(number) => write!(f, "interface {number:04X}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unknown_numbers_are_kept_and_shown() {
        assert_eq!(CommandSet(2).to_string(), "command set 0002 (AMD/Fujitsu standard)");
        assert_eq!(CommandSet(0x1234).to_string(), "command set 1234");
        assert_eq!(Interface::of(9).to_string(), "interface 0009");
        let known: Vec<_> = (0..5).map(|n| Interface::of(n).to_string()).collect();
        assert_eq!(known, ["x8", "x16", "x8/x16", "x32", "x16/x32"]);
    }

    #[test]
    fn layouts() {
        assert_eq!(CommandSet(0x0701).layout(), Layout::Amd);
        assert_eq!(CommandSet(0x0003).layout(), Layout::Intel);
        assert_eq!(CommandSet(0x0020).layout(), Layout::Other);
    }
}
