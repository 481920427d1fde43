//! DIGEST: the checksum of a span, made on the adapter.

use super::field::{Fields, Malformed};
use super::read::take_precharge;
use crate::bus::{Digest, Precharge, ShapeId, Span, WordAddress};

/// DIGEST, as the host sends it and as its reply says it again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DigestRequest {
    /// New for every pass.
    pub nonce: u16,
    /// The shape of the cycles.
    pub shape: ShapeId,
    /// The first address.
    pub address: WordAddress,
    /// Added after each word.
    pub step: i16,
    /// Words.
    pub count: u32,
    /// What the data lines are charged to before each read.
    pub precharge: Precharge,
}

impl DigestRequest {
    /// The cycles it stands for.
    pub const fn span(&self) -> Span {
        Span { start: self.address, step: self.step, count: self.count }
    }

    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.nonce.to_le_bytes());
        out.push(self.shape.0);
        out.extend(self.address.0.to_le_bytes());
        out.extend(self.step.to_le_bytes());
        out.extend(self.count.to_le_bytes());
        out.push(self.precharge as u8);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            nonce: f.u16("nonce")?,
            shape: ShapeId(f.u8("shape")?),
            address: WordAddress(f.u32("address")?),
            step: f.i16("step")?,
            count: f.u32("count")?,
            precharge: take_precharge(f)?,
        })
    }
}

/// DIGEST's reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DigestReply {
    /// What was asked.
    pub echo: DigestRequest,
    /// Checksum, AND and OR of the words.
    pub digest: Digest,
}

impl DigestReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        self.echo.put(out);
        for n in [self.digest.crc, self.digest.and, self.digest.or] {
            out.extend(n.to_le_bytes());
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let echo = DigestRequest::take(f)?;
        let digest = Digest { crc: f.u32("checksum")?, and: f.u32("AND")?, or: f.u32("OR")? };
        Ok(Self { echo, digest })
    }
}
