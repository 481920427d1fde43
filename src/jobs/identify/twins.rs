//! Does a space hold what a capture on the shelf holds?

use crate::bus::WordAddress;
use crate::jobs::blocks::{Conditions, Reach};
use crate::jobs::reading::digest_blocks;
use crate::jobs::{Desk, JobError, Powered};
use crate::module::Space;
use crate::shelf::{Part, cut_blocks};
use crate::wire::HelloReply;

/// What a capture says of one whole space.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Twin {
    /// The capture, and whose it is.
    pub name: String,
    /// Its passes agreed.
    pub agreed: bool,
    /// Its checksums, block by block.
    pub crc32: Vec<u32>,
}

/// The captures of `candidates` that the whole space equals, by checksums made on the adapter.
///
/// It goes on only while some candidate fits, so that a module that nobody knows costs one block.
pub(super) async fn twins(
    desk: &Desk<'_>,
    hello: &HelloReply,
    powered: &Powered,
    (index, space): (usize, &Space),
    mut candidates: Vec<Twin>,
) -> Result<Vec<Twin>, JobError> {
    let part = whole(space);
    let nonce = fastrand::u16(..);
    let reach = Reach::new(powered, hello, index, &part, Conditions::of_pass(1), nonce);
    for block in cut_blocks(std::slice::from_ref(&part)) {
        if candidates.is_empty() {
            break;
        }
        let mut seen = None;
        digest_blocks(desk, &reach, &[block], |_, digest| seen = Some(digest.crc)).await?;
        candidates.retain(|twin| twin.crc32.get(block.index as usize).copied() == seen);
    }
    Ok(candidates)
}

/// All words of a space.
pub fn whole(space: &Space) -> Part {
    Part {
        space: space.name.clone(),
        width: space.width,
        base: space.base,
        first: WordAddress(0),
        words: space.words,
    }
}
