//! The look that only reads: which data lines are driven at all?

use crate::bus::{Digest, Lane, Precharge, Word, WordAddress};
use crate::jobs::{Desk, JobError, Powered};
use crate::module::Space;
use crate::wire::{DigestRequest, Reply, Request};
use std::fmt;

/// Words that are looked at.
const WORDS: u32 = 1024;

/// What the two precharges have shown of the data lines of a space.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Looked {
    /// Lines that read 0 after ones and 1 after zeros.
    proven: Word,
    /// Lines that never left the precharge.
    floating: Word,
}

/// What is at a lane.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Presence {
    /// Every line is proven driven.
    Answers,
    /// Every line keeps the precharge: nothing answers.
    Nothing,
    /// Some lines keep it.
    Partly(Word),
    /// No line keeps it, but some never changed: not proven.
    Unproven(Word),
}

impl fmt::Display for Presence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines = |mask: Word| {
            let lines = (0..32).filter(|line| mask >> line & 1 == 1);
            lines.map(|line| format!("D{line}")).collect::<Vec<_>>().join(", ")
        };
        match self {
            Self::Answers => write!(f, "answers; every line is proven driven"),
            Self::Nothing => write!(f, "nothing answers"),
            Self::Partly(floating) => write!(f, "nobody drives {}", lines(*floating)),
            Self::Unproven(constant) => {
                write!(f, "answers; not proven, never changed: {}", lines(*constant))
            }
        }
    }
}

impl Looked {
    pub(super) fn presence(self, lane: Lane) -> Presence {
        let mask = lane.mask();
        match (self.proven & mask, self.floating & mask) {
            (proven, _) if proven == mask => Presence::Answers,
            (_, floating) if floating == mask => Presence::Nothing,
            (proven, 0) => Presence::Unproven(mask & !proven),
            (_, floating) => Presence::Partly(floating),
        }
    }

    fn of(zeros: Digest, ones: Digest) -> Self {
        Self {
            proven: zeros.or & !ones.and,
            // Low in every word after zeros, high in every word after ones.
            floating: !zeros.or & ones.and,
        }
    }
}

/// Looks at the first words of a space with both precharges.
pub(super) async fn look(
    desk: &Desk<'_>,
    powered: &Powered,
    index: usize,
    space: &Space,
) -> Result<Looked, JobError> {
    let [zeros, ones] = both(desk, powered, index, (space.base, WORDS.min(space.words))).await?;
    Ok(Looked::of(zeros, ones))
}

/// True if the words from word `from` on are driven, and others than the first ones: the chips go on
/// there. Smaller chips show their first words again, or nothing.
pub(super) async fn goes_on(
    desk: &Desk<'_>,
    powered: &Powered,
    index: usize,
    space: &Space,
    from: u32,
) -> Result<bool, JobError> {
    let count = WORDS.min(space.words.saturating_sub(from));
    if count == 0 {
        return Ok(false);
    }
    let [first, _] = both(desk, powered, index, (space.base, count)).await?;
    let [zeros, ones] = both(desk, powered, index, (space.base.plus(from), count)).await?;
    Ok(zeros == ones && zeros != first)
}

/// Digests of words with both precharges.
async fn both(
    desk: &Desk<'_>,
    powered: &Powered,
    index: usize,
    (address, count): (WordAddress, u32),
) -> Result<[Digest; 2], JobError> {
    let mut seen = [Digest { crc: 0, and: 0, or: 0 }; 2];
    for (digest, precharge) in seen.iter_mut().zip([Precharge::Zeros, Precharge::Ones]) {
        desk.check()?;
        let shape = powered.access[index].slow_id;
        let nonce = fastrand::u16(..);
        let request = DigestRequest { nonce, shape, address, step: 1, count, precharge };
        if let Reply::Digest(reply) = desk.client.call(Request::Digest(request)).await? {
            *digest = reply.digest;
        }
    }
    Ok(seen)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_follow_the_precharge_float() {
        let zeros = Digest { crc: 0, and: 0x0000, or: 0x00FF };
        let ones = Digest { crc: 0, and: 0xFF00, or: 0xFFFF };
        let looked = Looked::of(zeros, ones);
        assert_eq!(looked.presence(Lane { first: 0, bits: 8 }), Presence::Answers);
        assert_eq!(looked.presence(Lane { first: 8, bits: 8 }), Presence::Nothing);
        assert_eq!(looked.presence(Lane { first: 0, bits: 16 }), Presence::Partly(0xFF00));
        let constant =
            Looked::of(Digest { crc: 0, and: 0, or: 0 }, Digest { crc: 0, and: 0, or: 0 });
        assert_eq!(constant.presence(Lane { first: 0, bits: 8 }), Presence::Unproven(0xFF));
    }
}
