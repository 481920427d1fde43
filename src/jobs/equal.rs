//! Which copies does the module equal now? By checksums made on the adapter.

use super::blocks::{Conditions, Reach};
use super::reading::digest_blocks;
use super::{BlockState, Desk, Event, JobError, Powered, VerifyPart};
use crate::bus::Digest;
use crate::shelf::{Part, cut_blocks};
use crate::wire::HelloReply;

/// The checksums of one copy: a row for each part, a sum for each of its blocks.
pub type Sums = Vec<Vec<Digest>>;

/// The checksums of a copy's parts as [`equal_copies`] compares them.
pub fn sums(parts: &[VerifyPart]) -> Sums {
    let of = |part: &VerifyPart| {
        let blocks = cut_blocks(std::slice::from_ref(&part.part)).into_iter();
        let sum = blocks.map(|block| {
            let bytes = &part.expected[block.offset as usize..][..block.bytes as usize];
            Digest::of(part.part.width, bytes, true)
        });
        sum.collect()
    };
    parts.iter().map(of).collect()
}

/// The places of those `copies` of `parts` (index of the space, range) that the module equals.
///
/// It ends as soon as none is left, so that a module that nobody knows costs one block.
pub async fn equal_copies(
    desk: &Desk<'_>,
    hello: &HelloReply,
    powered: &Powered,
    parts: &[(usize, Part)],
    copies: &[Sums],
) -> Result<Vec<usize>, JobError> {
    let mut left: Vec<usize> = (0..copies.len()).collect();
    let mut nonce = fastrand::u16(..);
    for (number, (space, part)) in parts.iter().enumerate() {
        if left.is_empty() {
            break;
        }
        nonce = nonce.wrapping_add(1);
        let reach = Reach::new(powered, hello, *space, part, Conditions::of_pass(2), nonce);
        desk.tell(&Event::Pass {
            space: part.space.clone(),
            number: 1,
            what: "checksums".into(),
            bytes: part.bytes(),
        });
        for (at, block) in cut_blocks(std::slice::from_ref(part)).iter().enumerate() {
            if left.is_empty() {
                break;
            }
            let mut seen = None;
            let pass =
                digest_blocks(desk, &reach, &[*block], |_, digest| seen = Some(digest)).await;
            pass.map_err(|error| {
                error.at(|| format!("while comparing space {} with copies", part.space))
            })?;
            let of = |copy: usize| copies[copy].get(number).and_then(|row| row.get(at)).copied();
            left.retain(|copy| seen.is_some() && of(*copy) == seen);
            let state = if left.is_empty() { BlockState::Differs } else { BlockState::Same };
            let address = part.base.plus(block.first.0).0;
            desk.tell(&Event::Block {
                space: part.space.clone(),
                address,
                bytes: block.bytes,
                state,
            });
        }
    }
    Ok(left)
}
