//! Requests in flight, and what is done with a block's words.

use super::blocks::Reach;
use super::{Desk, JobError};
use crate::bus::Digest;
use crate::link::{Client, LinkError, Ticket};
use crate::shelf::Block;
use crate::wire::{Reply, Request};
use std::collections::VecDeque;

/// Requests given to the session ahead of the answers; its own window is smaller.
const AHEAD: usize = 48;

/// Requests with what each is for, answered in order; forgets what is left when dropped.
struct Pipeline<T> {
    client: Client,
    flying: VecDeque<(Ticket, T)>,
}

impl<T> Pipeline<T> {
    fn new(client: &Client) -> Self {
        Self { client: client.clone(), flying: VecDeque::new() }
    }

    /// Fills up from `more`.
    fn fill(&mut self, more: &mut impl Iterator<Item = (Request, T)>) {
        while self.flying.len() < AHEAD {
            let Some((request, what)) = more.next() else { return };
            self.flying.push_back((self.client.submit(request), what));
        }
    }

    /// The next answer in the order of the requests; `None` when none is outstanding.
    async fn next(&mut self) -> Option<Result<(T, Reply), LinkError>> {
        let &(ticket, _) = self.flying.front()?;
        let reply = self.client.finish(ticket).await;
        let (_, what) = self.flying.pop_front()?;
        Some(reply.map(|reply| (what, reply)))
    }
}

impl<T> Drop for Pipeline<T> {
    fn drop(&mut self) {
        for (ticket, _) in self.flying.drain(..) {
            self.client.forget(ticket);
        }
    }
}

/// Reads the words of `blocks` and calls `done` with each block as it is complete.
///
/// The requests of one block follow those of the one before without a gap, so that the line never
/// waits for a block to be stored.
pub(super) async fn read_blocks(
    desk: &Desk<'_>,
    reach: &Reach,
    blocks: &[Block],
    mut done: impl FnMut(&Block, Vec<u8>) -> Result<(), JobError>,
) -> Result<(), JobError> {
    let mut requests = blocks.iter().flat_map(|block| {
        let reads = reach.reads(block);
        let last = reads.len().saturating_sub(1);
        reads
            .into_iter()
            .enumerate()
            .map(move |(n, (offset, read))| (Request::Read(read), (block, offset, n == last)))
    });
    let mut pipeline = Pipeline::new(&desk.client);
    let mut content = Vec::new();
    loop {
        desk.check()?;
        pipeline.fill(&mut requests);
        let Some(answer) = pipeline.next().await else { return Ok(()) };
        let ((block, offset, last), reply) = answer?;
        let Reply::Read(read) = reply else { continue };
        let words = reach.words(read)?;
        desk.moved(words.len() as u64);
        content.resize(block.bytes as usize, 0);
        content[offset..offset + words.len()].copy_from_slice(&words);
        if last {
            done(block, std::mem::take(&mut content))?;
        }
    }
}

/// Has the adapter make the checksum of each of `blocks` and calls `done` with it.
pub(super) async fn digest_blocks(
    desk: &Desk<'_>,
    reach: &Reach,
    blocks: &[Block],
    mut done: impl FnMut(&Block, Digest),
) -> Result<(), JobError> {
    let mut requests = blocks.iter().map(|block| (reach.digest(block), block));
    let mut pipeline = Pipeline::new(&desk.client);
    loop {
        desk.check()?;
        pipeline.fill(&mut requests);
        let Some(answer) = pipeline.next().await else { return Ok(()) };
        let (block, reply) = answer?;
        if let Reply::Digest(got) = reply {
            desk.moved(u64::from(block.bytes));
            done(block, got.digest);
        }
    }
}

/// Has the adapter make the checksum of one block. The request to stop is not looked at: this is
/// in the middle of something.
pub(super) async fn digest_block(
    desk: &Desk<'_>,
    reach: &Reach,
    block: &Block,
) -> Result<Option<Digest>, JobError> {
    let reply = desk.client.call(reach.digest(block)).await?;
    desk.moved(u64::from(block.bytes));
    Ok(match reply {
        Reply::Digest(got) => Some(got.digest),
        _ => None,
    })
}
