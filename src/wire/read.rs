//! READ: words of a span.

use super::field::{Fields, Malformed};
use crate::bus::{Precharge, ShapeId, Span, WordAddress};

/// How the words of a READ reply are packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// Word after word.
    Raw,
    /// Runs of equal words are folded; see [`super::encode_runs`].
    Runs,
}

impl Encoding {
    /// The number on the wire.
    pub const fn number(self) -> u8 {
        self as u8
    }

    const fn from_code(value: u8) -> Option<Self> {
        match value {
            0 => Some(Self::Raw),
            1 => Some(Self::Runs),
            _ => None,
        }
    }
}

/// What READ asks for, and what its reply says again: a reply counts only for the request whose
/// echo is equal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ReadEcho {
    /// New for every pass.
    pub nonce: u16,
    /// The shape of the cycles.
    pub shape: ShapeId,
    /// The first address.
    pub address: WordAddress,
    /// Added after each word.
    pub step: i16,
    /// Words.
    pub count: u16,
    /// What the data lines are charged to before each read.
    pub precharge: Precharge,
    /// The encoding's number.
    pub encoding: u8,
}

impl ReadEcho {
    /// The cycles it stands for.
    pub const fn span(&self) -> Span {
        Span { start: self.address, step: self.step, count: self.count as u32 }
    }

    /// Its encoding, if this version has it.
    pub const fn known_encoding(&self) -> Option<Encoding> {
        Encoding::from_code(self.encoding)
    }

    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.nonce.to_le_bytes());
        out.push(self.shape.0);
        out.extend(self.address.0.to_le_bytes());
        out.extend(self.step.to_le_bytes());
        out.extend(self.count.to_le_bytes());
        out.extend([self.precharge as u8, self.encoding]);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            nonce: f.u16("nonce")?,
            shape: ShapeId(f.u8("shape")?),
            address: WordAddress(f.u32("address")?),
            step: f.i16("step")?,
            count: f.u16("count")?,
            precharge: take_precharge(f)?,
            encoding: f.u8("encoding")?,
        })
    }
}

/// The precharge byte: 0 none, 1 zeros, 2 ones.
pub(super) fn take_precharge(f: &mut Fields) -> Result<Precharge, Malformed> {
    f.code("precharge", |value| match value {
        0 => Some(Precharge::None),
        1 => Some(Precharge::Zeros),
        2 => Some(Precharge::Ones),
        _ => None,
    })
}

/// READ, as the host sends it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadRequest {
    /// What is asked.
    pub echo: ReadEcho,
}

/// READ's reply.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadReply {
    /// What was asked.
    pub echo: ReadEcho,
    /// The words in the request's encoding.
    pub payload: Vec<u8>,
}

impl ReadReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        self.echo.put(out);
        out.extend_from_slice(&self.payload);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { echo: ReadEcho::take(f)?, payload: f.rest().to_vec() })
    }
}
