//! PERMIT: leave to do write cycles, for a time, in a window.

use super::field::{Fields, Malformed};
use crate::bus::{ShapeId, Word, WordAddress};

/// Command addresses that one permit may list.
pub const PERMIT_ADDRESSES: usize = 8;

/// PERMIT: writes of one shape are allowed inside the data window or at a listed command address,
/// nowhere else. It replaces the permit of that shape; zero seconds withdraw it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PermitRequest {
    /// The shape whose writes are meant.
    pub shape: ShapeId,
    /// LINES, WALK and the line operations of scripts may move control lines, too.
    pub lines: bool,
    /// How long it lasts; a run that has begun keeps it to its end.
    pub seconds: u16,
    /// First word of the data window.
    pub start: WordAddress,
    /// Words of the window; 0 for none.
    pub words: u32,
    /// Data lines that writes may be meant for.
    pub lanes: Word,
    /// Address bits in which a command address must be equal.
    pub address_mask: u32,
    /// The command addresses, at most [`PERMIT_ADDRESSES`].
    pub addresses: Vec<WordAddress>,
}

impl PermitRequest {
    /// True if a write at `address`, meant for `lanes`, is covered.
    pub fn covers(&self, address: WordAddress, lanes: Word) -> bool {
        let inside = address.0.wrapping_sub(self.start.0) < self.words;
        let command = |at: &WordAddress| (at.0 ^ address.0) & self.address_mask == 0;
        lanes & !self.lanes == 0 && (inside || self.addresses.iter().any(command))
    }

    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend([self.shape.0, u8::from(self.lines)]);
        out.extend(self.seconds.to_le_bytes());
        for n in [self.start.0, self.words, self.lanes, self.address_mask] {
            out.extend(n.to_le_bytes());
        }
        let addresses = &self.addresses[..self.addresses.len().min(PERMIT_ADDRESSES)];
        out.push(addresses.len() as u8);
        for at in addresses {
            out.extend(at.0.to_le_bytes());
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            shape: ShapeId(f.u8("shape")?),
            lines: f.flag("lines")?,
            seconds: f.u16("seconds")?,
            start: WordAddress(f.u32("start")?),
            words: f.u32("words")?,
            lanes: f.u32("lanes")?,
            address_mask: f.u32("address mask")?,
            addresses: {
                let n =
                    f.code("addresses", |n| (usize::from(n) <= PERMIT_ADDRESSES).then_some(n))?;
                (0..n).map(|_| f.u32("address").map(WordAddress)).collect::<Result<_, _>>()?
            },
        })
    }
}

/// PERMIT's reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PermitReply {
    /// The shape.
    pub shape: ShapeId,
    /// Seconds that it will last.
    pub seconds: u16,
}

impl PermitReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.shape.0);
        out.extend(self.seconds.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { shape: ShapeId(f.u8("shape")?), seconds: f.u16("seconds")? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_write_is_covered_in_the_window_or_at_a_command_address() {
        let permit = PermitRequest {
            shape: ShapeId(0),
            lines: false,
            seconds: 10,
            start: WordAddress(0x1000),
            words: 0x100,
            lanes: 0xFFFF,
            address_mask: 0x7FF,
            addresses: vec![WordAddress(0x555)],
        };
        assert!(permit.covers(WordAddress(0x10FF), 0xFFFF));
        assert!(!permit.covers(WordAddress(0x1100), 0xFFFF));
        assert!(permit.covers(WordAddress(0x8555), 0x00FF), "bits above the mask do not count");
        assert!(!permit.covers(WordAddress(0x8556), 0xFFFF));
        assert!(!permit.covers(WordAddress(0x1000), 0x1_0000), "a lane outside");
        assert!(!PermitRequest { words: 0, ..permit }.covers(WordAddress(0x1000), 1));
    }
}
