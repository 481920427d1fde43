//! The extended table of a part's primary command set, whose layout goes by command set and
//! maker.

use super::command_set::{CommandSet, Layout};
use super::{AmdTable, AtmelTable, CfiError, IntelTable, Query};
use crate::chips::MakerId;
use std::fmt;
use std::ops::RangeInclusive;

/// The version of an extended table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Version {
    /// Before the point.
    pub major: u8,
    /// After the point.
    pub minor: u8,
}

impl fmt::Display for Version {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.major, self.minor)
    }
}

/// The extended table, as far as there is one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Primary {
    /// The part says that it has none.
    None,
    /// That of an AMD/Fujitsu command set.
    Amd(AmdTable),
    /// That of an Atmel part with an AMD command set.
    Atmel(AtmelTable),
    /// That of an Intel/Sharp command set.
    Intel(IntelTable),
    /// There is one, but no layout is known for this command set.
    Foreign,
    /// There is one that cannot be read; the rest of the query table still holds.
    Unread(CfiError),
}

impl Primary {
    /// The table of `set` at `at`; the bytes before `free` hold something else.
    pub(super) fn decode(
        query: &Query,
        set: CommandSet,
        at: u16,
        free: u16,
        maker: Option<MakerId>,
    ) -> Self {
        if at == 0 {
            return Self::None;
        }
        if at < free {
            let (what, expected) = ("the place of the extended table", "one behind the regions");
            let got = u32::from(at);
            return Self::Unread(CfiError::Value { offset: 0x15, what, expected, got });
        }
        let read = match (set.layout(), maker) {
            (Layout::Amd, Some(MakerId::ATMEL)) => AtmelTable::decode(query, at).map(Self::Atmel),
            (Layout::Amd, _) => AmdTable::decode(query, at).map(Self::Amd),
            (Layout::Intel, _) => IntelTable::decode(query, at).map(Self::Intel),
            (Layout::Other, _) => return Self::Foreign,
        };
        read.unwrap_or_else(Self::Unread)
    }
}

/// The 'PRI' and the version that every extended table starts with. Versions 1.0 to 1.5 are
/// known (1.5 from memory); the fields of others may mean something else.
pub(super) fn version(query: &Query, at: u16) -> Result<Version, CfiError> {
    let what = "'PRI' of the extended table";
    for (index, wanted) in (0..).zip(*b"PRI") {
        let offset = at.saturating_add(index);
        let got = query.byte(offset, what)?;
        if got != wanted {
            let (expected, got) = ("50 52 49 in a row", u32::from(got));
            return Err(CfiError::Value { offset, what, expected, got });
        }
    }
    let digit = |offset: u16, known: RangeInclusive<u8>, expected| {
        let offset = at.saturating_add(offset);
        let what = "the version of the extended table";
        let got = query.byte(offset, what)?;
        let wrong = CfiError::Value { offset, what, expected, got: u32::from(got) };
        if known.contains(&got) { Ok(got - b'0') } else { Err(wrong) }
    };
    let major = digit(3, b'1'..=b'1', "31 ('1')")?;
    Ok(Version { major, minor: digit(4, b'0'..=b'5', "30 to 35 ('0' to '5')")? })
}
