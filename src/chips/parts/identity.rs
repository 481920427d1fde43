//! What ids say about a chip.

use super::Part;
use crate::chips::{Geometry, MakerId};
use std::fmt;

/// What the table knows about a pair of maker and device id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Identity<'a> {
    /// No part answers so; the ids are kept as read.
    Unknown {
        /// The maker.
        maker: MakerId,
        /// The device id.
        device: Vec<u16>,
    },
    /// One part answers so.
    One(&'a Part),
    /// Several parts answer so.
    Several(Vec<&'a Part>),
}

impl<'a> Identity<'a> {
    /// The parts that answer so.
    pub fn parts(&self) -> &[&'a Part] {
        match self {
            Self::Unknown { .. } => &[],
            Self::One(part) => std::slice::from_ref(part),
            Self::Several(parts) => parts,
        }
    }

    /// The geometry that all of the parts have in common; `None` if they differ or none is
    /// known.
    pub fn geometry(&self) -> Option<&'a Geometry> {
        let (first, rest) = self.parts().split_first()?;
        rest.iter().all(|part| part.geometry == first.geometry).then_some(&first.geometry)
    }

    /// True if `device` is the first of the three words of a three-cycle id: whoever has not read
    /// the other two (word addresses 0E and 0F) knows next to nothing.
    pub fn is_cut_short(device: &[u16]) -> bool {
        matches!(device, [first] if first & 0xFF == 0x7E)
    }
}

impl fmt::Display for Identity<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown { maker, device } => {
                write!(f, "unknown chip, maker {maker} device")?;
                if device.is_empty() {
                    return write!(f, " not read");
                }
                device.iter().try_for_each(|word| write!(f, " 0x{word:02X}"))
            }
            Self::One(part) => f.write_str(&part.name),
            Self::Several(parts) => {
                let names: Vec<_> = parts.iter().map(|part| part.name.as_str()).collect();
                write!(f, "one of {}", names.join(", "))
            }
        }
    }
}
