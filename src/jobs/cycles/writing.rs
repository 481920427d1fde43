//! Writes by hand: leave first, then a run of one word, then a look at it.

use super::{Answer, Hand};
use crate::bus::script::{BuildError, Builder};
use crate::bus::{Nanos, ShapeId, Word, WordAddress, crc32};
use crate::link::{Chain, Client, LinkError};
use crate::module::Kind;
use crate::wire::{Kind as Wire, PermitRequest, Reply, Request, RunId, RunRequest, ScriptRequest};

/// The longest leave that is asked for.
const LONGEST: u16 = 600;

/// What writes need to be made once and in order.
pub(super) struct Pen {
    chain: Chain,
    /// The shape that the stored script writes with, and the script's checksum.
    stored: Option<(ShapeId, u32)>,
    /// Leave: the space, its shape, and until when.
    leave: Option<(usize, ShapeId, Nanos)>,
}

impl Pen {
    pub(super) fn new(chain: Chain) -> Self {
        Self { chain, stored: None, leave: None }
    }

    pub(super) fn next(&mut self) -> (RunId, u32) {
        self.chain.next()
    }

    /// True if there is leave for this space now.
    pub(super) fn covers(&self, space: usize, now: Nanos) -> bool {
        self.leave.is_some_and(|(of, _, until)| of == space && now < until)
    }

    /// Begins a new chain after the last run that the adapter knows.
    pub(super) async fn renew(&mut self, client: &Client) -> Result<(), LinkError> {
        if let Reply::Ping(ping) = client.call(Request::Ping).await? {
            self.chain.renew(ping.last_run);
        }
        Ok(())
    }

    /// Gives leave back.
    pub(super) async fn lock(&mut self, client: &Client) -> Result<(), LinkError> {
        if let Some((_, shape, _)) = self.leave.take() {
            client.call(Request::Permit(permit(shape, WordAddress(0), 0, 0, 0))).await?;
        }
        Ok(())
    }
}

fn permit(
    shape: ShapeId,
    start: WordAddress,
    words: u32,
    lanes: Word,
    seconds: u16,
) -> PermitRequest {
    PermitRequest {
        shape,
        lines: false,
        seconds,
        start,
        words,
        lanes,
        address_mask: u32::MAX,
        addresses: Vec::new(),
    }
}

fn defect(error: &BuildError) -> LinkError {
    LinkError::Nonsense { request: Wire::SCRIPT, what: error.to_string() }
}

impl Hand<'_, '_> {
    /// Asks the adapter for leave to write in the whole of a RAM space.
    pub(super) async fn allow(&mut self, index: usize, seconds: u16) -> Result<Answer, LinkError> {
        let Some(space) = self.sheet.spaces.get(index) else {
            return Ok(Answer::Refused("the sheet has no such space".into()));
        };
        let access = &self.powered.access[index];
        if let Some(why) = &access.no_write {
            return Ok(Answer::Refused(why.to_string()));
        }
        if space.kind != Kind::Ram {
            return Ok(Answer::Refused(format!("{} is no RAM: it stays locked", space.name)));
        }
        let client = &self.desk.client;
        self.pen.lock(client).await?;
        let seconds = seconds.min(LONGEST);
        let ask = permit(access.id, space.base, space.words, space.width.ones(), seconds);
        let asked = client.now();
        let request = Request::Permit(ask);
        let reply = client.call(request.clone()).await?;
        let Reply::Permit(given) = reply else {
            return Err(LinkError::unexpected(request.kind(), &reply));
        };
        let until = asked + Nanos::from_secs(u64::from(given.seconds));
        self.pen.leave = Some((index, access.id, until));
        Ok(Answer::Allowed { space: index, seconds: given.seconds })
    }

    /// Writes one word and reads it back.
    pub(super) async fn write(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Word,
    ) -> Result<Answer, LinkError> {
        if let Some(refused) = self.may_write(space, address, value) {
            return Ok(refused);
        }
        let shape = self.powered.access[space].id;
        let crc = self.store(shape).await?;
        let width = self.sheet.spaces[space].width;
        let (id, after) = self.pen.next();
        let run = RunRequest {
            id,
            after,
            slot: 0,
            script_crc: crc,
            a: address,
            b: address,
            n: 1,
            lanes: width.ones(),
            width,
            payload: vec![value],
        };
        let request = Request::Run(run);
        let reply = self.desk.client.call(request.clone()).await;
        if !matches!(&reply, Ok(Reply::Run(done)) if self.pen.chain.goes_on(done)) {
            self.pen.renew(&self.desk.client).await?;
        }
        let reply = reply?;
        let Reply::Run(done) = &reply else {
            return Err(LinkError::unexpected(request.kind(), &reply));
        };
        if done.status != 0 {
            return Ok(Answer::Refused(format!(
                "the write was not made good: the adapter ended it with status {} \
                 (docs/script.md, \"Ends\")",
                done.status
            )));
        }
        self.report.writes += 1;
        let words = self.read(space, address).await?;
        Ok(Answer::Written { space, address, value, words })
    }

    /// Stores the script that writes a word of the payload at A, unless it is there.
    async fn store(&mut self, shape: ShapeId) -> Result<u32, LinkError> {
        if let Some((of, crc)) = self.pen.stored
            && of == shape
        {
            return Ok(crc);
        }
        let script = Builder::new(shape).write_payload().script().map_err(|e| defect(&e))?;
        let crc = crc32(&script.0);
        self.desk.client.call(Request::Script(ScriptRequest { slot: 0, bytes: script.0 })).await?;
        self.pen.stored = Some((shape, crc));
        Ok(crc)
    }
}
