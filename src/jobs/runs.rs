//! Cycle scripts run on the adapter by a job: leave to write, store, run, once each.

use super::{Desk, JobError};
use crate::bus::script::{Script, Why};
use crate::bus::{Nanos, ShapeId, Width, Word, WordAddress, crc32};
use crate::link::{Chain, LinkError};
use crate::wire::{
    FaultCode, Kind, PERMIT_ADDRESSES, PermitRequest, Reply, Request, RunReply, RunRequest,
    ScriptRequest,
};

/// Scripts of a job are stored one after the other in the same slot.
const SLOT: u8 = 0;

/// Leave to write, as it was asked for.
#[derive(Clone, Copy, Debug)]
struct Leave {
    shape: ShapeId,
    seconds: u16,
    until: Nanos,
}

/// The runs of one job, in the one chain of its session.
pub struct Runs<'a, 'd> {
    desk: &'a Desk<'d>,
    chain: Chain,
    leave: Option<Leave>,
    /// The script in the slot.
    stored: Option<u32>,
}

impl<'a, 'd> Runs<'a, 'd> {
    /// The chain of this session; nothing has run in it yet.
    pub fn new(desk: &'a Desk<'d>) -> Self {
        Self { desk, chain: Chain::new(desk.client.number()), leave: None, stored: None }
    }

    /// Asks for leave to write at exactly `addresses` of a shape, on `lanes`, for `seconds`.
    pub async fn permit(
        &mut self,
        shape: ShapeId,
        addresses: &[WordAddress],
        lanes: Word,
        seconds: u16,
    ) -> Result<(), JobError> {
        if addresses.len() > PERMIT_ADDRESSES {
            return Err(nonsense(Kind::PERMIT, "more command addresses than a permit has".into()));
        }
        let permit = PermitRequest {
            shape,
            lines: false,
            seconds,
            start: WordAddress(0),
            words: 0,
            lanes,
            address_mask: u32::MAX,
            addresses: addresses.to_vec(),
        };
        self.desk.client.call(Request::Permit(permit)).await?;
        let until = self.desk.client.now() + Nanos::from_secs(u64::from(seconds));
        self.leave = (seconds > 0).then_some(Leave { shape, seconds, until });
        Ok(())
    }

    /// Gives the leave back.
    pub async fn no_permit(&mut self, shape: ShapeId) -> Result<(), JobError> {
        self.permit(shape, &[], 0, 0).await
    }

    /// Stores `script` and runs it with every lane; what it emitted.
    pub async fn emitted(&mut self, script: &Script, width: Width) -> Result<Vec<Word>, JobError> {
        let client = &self.desk.client;
        let script_crc = crc32(&script.0);
        if self.stored != Some(script_crc) {
            let store = ScriptRequest { slot: SLOT, bytes: script.0.clone() };
            client.call(Request::Script(store)).await?;
            self.stored = Some(script_crc);
        }
        let (id, after) = self.chain.next();
        let run = RunRequest {
            id,
            after,
            slot: SLOT,
            script_crc,
            a: WordAddress(0),
            b: WordAddress(0),
            n: 1,
            lanes: width.ones(),
            width,
            payload: Vec::new(),
        };
        let reply = match client.call(Request::Run(run)).await {
            Ok(Reply::Run(reply)) => reply,
            Ok(other) => return Err(LinkError::unexpected(Kind::RUN, &other).into()),
            Err(LinkError::Fault { code: FaultCode::NOT_PERMITTED, detail, .. }) => {
                return Err(self.not_permitted(WordAddress(detail)));
            }
            Err(error) => return Err(error.into()),
        };
        self.good(&reply)?;
        Ok(reply.emitted)
    }

    fn good(&mut self, reply: &RunReply) -> Result<(), JobError> {
        if self.chain.goes_on(reply) {
            return Ok(());
        }
        self.chain.renew(reply.id.run);
        if reply.status == Why::NotPermitted.number() {
            return Err(self.not_permitted(reply.a));
        }
        let why = Why::of_number(reply.status).map_or("unknown", Why::name);
        Err(nonsense(Kind::RUN, format!("the run ended '{why}' at byte {} of it", reply.at)))
    }

    /// The adapter refused a write: which permit was missing.
    fn not_permitted(&self, at: WordAddress) -> JobError {
        let which = match self.leave {
            None => "no permit was given".to_owned(),
            Some(leave) if self.desk.client.now() >= leave.until => {
                format!("the permit of {} s for shape {} is over", leave.seconds, leave.shape.0)
            }
            Some(leave) => format!("the permit for shape {} does not cover it", leave.shape.0),
        };
        JobError::Safety(format!(
            "the adapter let no write through near word {at}: {which}; nothing was written there, \
             start the job again"
        ))
    }
}

/// The adapter, or this program, does what the wire does not allow for.
pub(super) fn nonsense(request: Kind, what: String) -> JobError {
    LinkError::Nonsense { request, what }.into()
}
