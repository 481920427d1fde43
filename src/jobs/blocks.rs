//! The conditions of a pass and the requests that it is made of.

use super::Powered;
use crate::bus::{Precharge, ShapeId, Span, Width, WordAddress};
use crate::link::LinkError;
use crate::shelf::{Block, Part};
use crate::wire::{
    DigestRequest, Encoding, HelloReply, Kind, ReadEcho, ReadReply, ReadRequest, Request,
    decode_runs,
};

/// Payload bytes of a READ reply; the line share in `docs/performance.md` is reckoned with it.
const PAYLOAD: usize = 1024;
/// Kind, tag and echo of a READ reply; a body is counted without its checksum.
const READ_OVERHEAD: usize = 15;

/// How the words of a pass are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Conditions {
    /// What the data lines are charged to before each read.
    pub precharge: Precharge,
    /// Highest address first.
    pub down: bool,
    /// With twice the access time.
    pub slow: bool,
}

impl Conditions {
    const PLAIN: Self = Self { precharge: Precharge::Zeros, down: false, slow: false };
    const OPPOSITE: Self = Self { precharge: Precharge::Ones, down: true, slow: true };

    /// The conditions of pass `number`: 1 plain; 2 and 3 opposite, one as checksums and one as
    /// words, so that 3 shows where 2 disagreed; then in turn.
    pub(super) const fn of_pass(number: u32) -> Self {
        if number == 2 || number % 2 == 1 && number != 1 { Self::OPPOSITE } else { Self::PLAIN }
    }

    /// The signed step of the address.
    pub(super) const fn step(self) -> i16 {
        if self.down { -1 } else { 1 }
    }
}

/// One space under given conditions, ready to make requests for pieces of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    shape: ShapeId,
    width: Width,
    base: WordAddress,
    how: Conditions,
    nonce: u16,
    encoding: Encoding,
    frame_words: u32,
}

impl Reach {
    /// Space `space` of the sheet, of which `part` is read, under conditions `how`.
    pub(super) fn new(
        powered: &Powered,
        hello: &HelloReply,
        space: usize,
        part: &Part,
        how: Conditions,
        nonce: u16,
    ) -> Self {
        let access = &powered.access[space];
        let runs = hello.encodings.contains(&Encoding::Runs.number());
        let room = usize::from(hello.sizes.tx_body_max).saturating_sub(READ_OVERHEAD);
        let size = part.width.bytes();
        let mut words = (room.min(PAYLOAD) / size).max(1);
        // Incompressible words cost a byte more for every 128.
        while runs && words > 1 && words * size + words.div_ceil(128) > room {
            words -= 1;
        }
        Self {
            shape: if how.slow { access.slow_id } else { access.id },
            width: part.width,
            base: part.base,
            how,
            nonce,
            encoding: if runs { Encoding::Runs } else { Encoding::Raw },
            frame_words: words as u32,
        }
    }

    fn span(&self, first: WordAddress, words: u32) -> Span {
        let start = self.base.plus(first.0);
        if self.how.down { Span::down(start, words) } else { Span::up(start, words) }
    }

    /// The READs of a block: each with the byte offset of its words in the block.
    pub(super) fn reads(&self, block: &Block) -> Vec<(usize, ReadRequest)> {
        let size = self.width.bytes() as u32;
        let whole = block.bytes / size;
        let mut reads: Vec<_> = (0..whole)
            .step_by(self.frame_words as usize)
            .map(|at| {
                let words = self.frame_words.min(whole - at);
                let span = self.span(WordAddress(block.first.0 + at), words);
                let echo = ReadEcho {
                    nonce: self.nonce,
                    shape: self.shape,
                    address: span.start,
                    step: span.step,
                    count: words as u16,
                    precharge: self.how.precharge,
                    encoding: self.encoding.number(),
                };
                ((at * size) as usize, ReadRequest { echo })
            })
            .collect();
        if self.how.down {
            reads.reverse();
        }
        reads
    }

    /// The DIGEST of a block.
    pub(super) fn digest(&self, block: &Block) -> Request {
        let span = self.span(block.first, block.bytes / self.width.bytes() as u32);
        Request::Digest(DigestRequest {
            nonce: self.nonce,
            shape: self.shape,
            address: span.start,
            step: span.step,
            count: span.count,
            precharge: self.how.precharge,
        })
    }

    /// The words of a reply as little-endian bytes, lowest address first.
    pub(super) fn words(&self, reply: ReadReply) -> Result<Vec<u8>, LinkError> {
        let count = usize::from(reply.echo.count);
        let nonsense = |what: String| LinkError::Nonsense { request: Kind::READ, what };
        let mut bytes = match self.encoding {
            Encoding::Runs => decode_runs(self.width, count, &reply.payload)
                .map_err(|error| nonsense(error.to_string()))?,
            Encoding::Raw if reply.payload.len() == count * self.width.bytes() => reply.payload,
            Encoding::Raw => {
                let got = reply.payload.len();
                return Err(nonsense(format!("{got} bytes for {count} words")));
            }
        };
        if self.how.down {
            reverse_words(self.width, &mut bytes);
        }
        Ok(bytes)
    }
}

fn reverse_words(width: Width, bytes: &mut [u8]) {
    bytes.reverse();
    bytes.chunks_exact_mut(width.bytes()).for_each(<[u8]>::reverse);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_alternate_and_three_repeats_two() {
        let how: Vec<_> = (1..=5).map(|n| Conditions::of_pass(n).down).collect();
        assert_eq!(how, [false, true, true, false, true]);
    }

    #[test]
    fn words_reverse_with_their_bytes_in_order() {
        let mut bytes = [1, 2, 3, 4, 5, 6];
        reverse_words(Width::W16, &mut bytes);
        assert_eq!(bytes, [5, 6, 3, 4, 1, 2]);
    }
}
