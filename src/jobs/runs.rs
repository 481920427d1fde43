//! Cycle scripts run on the adapter by a job: leave to write, store, run, once each.

mod stream;

use super::{Arrival, Desk, JobError};
use crate::bus::script::{Script, Why};
use crate::bus::{Millivolts, Nanos, ShapeId, Width, Word, WordAddress, crc32};
use crate::chips::ask::reads_a_script;
use crate::link::LinkError;
use crate::wire::{
    FaultCode, Kind, PERMIT_ADDRESSES, PermitRequest, Reply, Request, RunReply, RunRequest,
    ScriptRequest, Sizes,
};

pub(super) use stream::Streamed;

/// Leave to write, as it was asked for.
#[derive(Clone, Copy, Debug)]
struct Leave {
    shape: ShapeId,
    seconds: u16,
    until: Nanos,
}

/// Where writes are allowed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Window {
    /// The shape of the cycles.
    pub shape: ShapeId,
    /// The first word of the data.
    pub start: WordAddress,
    /// Words of data.
    pub words: u32,
    /// Command addresses besides.
    pub addresses: Vec<WordAddress>,
    /// Data lines.
    pub lanes: Word,
}

/// One run of a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Start {
    /// A and B.
    pub at: WordAddress,
    /// N.
    pub n: u32,
    /// The words it takes.
    pub payload: Vec<Word>,
}

/// The runs of one job, in the one chain of its session.
pub struct Runs<'a, 'd> {
    desk: &'a Desk<'d>,
    leave: Option<Leave>,
    sizes: Sizes,
    /// The script in each slot that was used, by its checksum.
    stored: Vec<u32>,
    /// The slot that is used next.
    next_slot: usize,
}

impl<'a, 'd> Runs<'a, 'd> {
    /// Runs in the chain of the desk's session; no slot is known to hold a script.
    pub fn new(desk: &'a Desk<'d>, sizes: Sizes) -> Self {
        Self { desk, leave: None, sizes, stored: Vec::new(), next_slot: 0 }
    }

    /// Payload words of one run at most.
    pub(super) fn most_words(&self, width: Width) -> usize {
        let room = usize::from(self.sizes.rx_body_max).saturating_sub(RunRequest::OVERHEAD);
        (room / width.bytes()).max(1)
    }

    /// Addresses that one script may read.
    pub(super) fn reads_a_script(&self) -> usize {
        let sizes = self.sizes;
        reads_a_script(sizes.script_bytes.into(), sizes.emit_remembered.into())
    }

    /// Asks for leave to write at exactly `addresses` of a shape, on `lanes`, for `seconds`.
    pub async fn permit(
        &mut self,
        shape: ShapeId,
        addresses: &[WordAddress],
        lanes: Word,
        seconds: u16,
    ) -> Result<(), JobError> {
        let (start, addresses) = (WordAddress(0), addresses.to_vec());
        let window = Window { shape, start, words: 0, addresses, lanes };
        self.permit_window(window, seconds).await.map(|_| ())
    }

    /// Asks for leave to write in `window` for `seconds`; the seconds that were given.
    pub(super) async fn permit_window(
        &mut self,
        window: Window,
        seconds: u16,
    ) -> Result<u16, JobError> {
        let Window { shape, start, words, addresses, lanes } = window;
        if addresses.len() > PERMIT_ADDRESSES {
            return Err(nonsense(Kind::PERMIT, "more command addresses than a permit has".into()));
        }
        let address_mask = u32::MAX;
        let lines = false;
        let permit =
            PermitRequest { shape, lines, seconds, start, words, lanes, address_mask, addresses };
        let request = Request::Permit(permit);
        let reply = self.desk.client.call(request.clone()).await?;
        let Reply::Permit(given) = reply else {
            return Err(LinkError::unexpected(request.kind(), &reply).into());
        };
        let seconds = given.seconds;
        let until = self.desk.client.now() + Nanos::from_secs(u64::from(seconds));
        self.leave = (seconds > 0).then_some(Leave { shape, seconds, until });
        self.desk.show(&Arrival::Leave { seconds });
        Ok(seconds)
    }

    /// Gives the leave back.
    pub async fn no_permit(&mut self, shape: ShapeId) -> Result<(), JobError> {
        self.permit(shape, &[], 0, 0).await
    }

    /// Stores `script` unless a slot holds it; the slot.
    async fn slot_of(&mut self, script: &Script) -> Result<u8, JobError> {
        let crc = crc32(&script.0);
        if let Some(slot) = self.stored.iter().position(|stored| *stored == crc) {
            return Ok(slot as u8);
        }
        let slots = usize::from(self.sizes.script_slots).max(1);
        let slot = self.next_slot % slots;
        self.next_slot = slot + 1;
        let store = ScriptRequest { slot: slot as u8, bytes: script.0.clone() };
        self.desk.client.call(Request::Script(store)).await?;
        match self.stored.get_mut(slot) {
            Some(stored) => *stored = crc,
            None => self.stored.push(crc),
        }
        Ok(slot as u8)
    }

    /// Runs `script` once with every lane and nothing else; what it emitted.
    pub async fn emitted(&mut self, script: &Script, width: Width) -> Result<Vec<Word>, JobError> {
        Ok(self.finished(script, width).await?.emitted)
    }

    /// The same with everything that came of it. A begins at 0.
    pub(super) async fn finished(
        &mut self,
        script: &Script,
        width: Width,
    ) -> Result<RunReply, JobError> {
        let start = Start { at: WordAddress(0), n: 1, payload: Vec::new() };
        let reply = self.run(script, width, start).await?;
        if reply.status != Why::Good.number() {
            return Err(ended_badly(&reply));
        }
        Ok(reply)
    }

    /// Runs `script` once with every lane. A wait that failed or timed out is an answer of the
    /// chips and stands in the reply; every other end is an error.
    pub(super) async fn run(
        &mut self,
        script: &Script,
        width: Width,
        start: Start,
    ) -> Result<RunReply, JobError> {
        let slot = self.slot_of(script).await?;
        let run = self.request(slot, script, width, start);
        let reply = self.desk.client.call(Request::Run(run)).await;
        self.taken(reply)
    }

    /// The next run of the chain.
    fn request(&mut self, slot: u8, script: &Script, width: Width, start: Start) -> RunRequest {
        let (id, after) = self.desk.chain.borrow_mut().next();
        RunRequest {
            id,
            after,
            slot,
            script_crc: crc32(&script.0),
            a: start.at,
            b: start.at,
            n: start.n,
            lanes: width.ones(),
            width,
            payload: start.payload,
        }
    }

    fn taken(&mut self, reply: Result<Reply, LinkError>) -> Result<RunReply, JobError> {
        let reply = match reply {
            Ok(Reply::Run(reply)) => reply,
            Ok(other) => return Err(LinkError::unexpected(Kind::RUN, &other).into()),
            Err(LinkError::Fault { code: FaultCode::NOT_PERMITTED, detail, .. }) => {
                return Err(self.not_permitted(WordAddress(detail)));
            }
            Err(error) => return Err(error.into()),
        };
        if self.desk.chain.borrow().goes_on(&reply) {
            return Ok(reply);
        }
        self.desk.chain.borrow_mut().renew(reply.id.run);
        match Why::of_number(reply.status) {
            Some(Why::WaitFailed | Why::TimedOut) => Ok(reply),
            Some(Why::NotPermitted) => Err(self.not_permitted(reply.a)),
            _ => Err(ended_badly(&reply)),
        }
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

fn ended_badly(reply: &RunReply) -> JobError {
    if reply.status == Why::PowerLost.number() {
        return LinkError::RailGone { why: "it went during a run", mv: Millivolts(0) }.into();
    }
    let why = Why::of_number(reply.status).map_or("unknown", Why::name);
    nonsense(Kind::RUN, format!("the run ended '{why}' at byte {} of it", reply.at))
}

/// Begins a new chain after the last run that the adapter knows: STOP and rail off halt one.
pub(super) async fn renew(desk: &Desk<'_>) -> Result<(), JobError> {
    if let Reply::Ping(ping) = desk.client.call(Request::Ping).await? {
        desk.chain.borrow_mut().renew(ping.last_run);
    }
    Ok(())
}

/// The adapter, or this program, does what the wire does not allow for.
pub(super) fn nonsense(request: Kind, what: String) -> JobError {
    LinkError::Nonsense { request, what }.into()
}
