//! The request in work, and how it goes on.

use super::Adapter;
use super::lines::WalkWork;
use super::runs::RunWork;
use crate::bus::{Baud, Digester, Nanos, Shape, Span, Word, WordAddress};
use crate::sim::books::RailWhy;
use crate::wire::{Busy, DigestReply, DigestRequest, Fault, FaultCode, Kind, RailReply, Reply};

/// Requests that last longer send BUSY.
pub(super) const LONG: Nanos = Nanos::from_millis(250);
/// Between two BUSYs.
const BUSY_EVERY: Nanos = Nanos::from_secs(1);
/// Words of a DIGEST between two looks at STOP, and at instant pace.
const SLICE: u32 = 256;
const INSTANT_SLICE: u32 = 1 << 14;
/// At instant pace a slice takes this long all the same, so that STOP comes between slices.
const INSTANT_TIME: Nanos = Nanos(250);

/// A DIGEST in work.
pub(super) struct DigestWork {
    pub(super) echo: DigestRequest,
    pub(super) shape: Shape,
    pub(super) per_word: u64,
    pub(super) digester: Digester,
    /// When the first word was begun.
    pub(super) begun: Nanos,
    /// Words whose time has passed when the slice ends.
    pub(super) done: u32,
}

/// What is being done.
pub(super) enum Task {
    /// The reply is made; only its time has to pass.
    Answer(Reply, Option<Baud>),
    Digest(Box<DigestWork>),
    Run(Box<RunWork>),
    Walk(Box<WalkWork>),
    RailOn,
    RailOff,
}

impl Task {
    /// True if it is made piece by piece.
    pub(super) fn is_sliced(&self) -> bool {
        matches!(self, Self::Digest(_) | Self::Run(_) | Self::Walk(_))
    }
}

/// The request in work.
pub(super) struct Work {
    pub(super) tag: u8,
    pub(super) of: Kind,
    pub(super) id: u32,
    pub(super) started: Nanos,
    /// When the next piece of it is done.
    pub(super) slice_ends: Nanos,
    pub(super) ends: Nanos,
    pub(super) next_busy: Option<Nanos>,
    pub(super) halt: Option<FaultCode>,
    pub(super) task: Task,
}

impl Work {
    pub(super) fn due(&self) -> Nanos {
        self.next_busy.map_or(self.slice_ends, |busy| busy.min(self.slice_ends))
    }

    /// True if STOP ends it with a fault; a run ends by itself.
    pub(super) fn can_be_halted(&self) -> bool {
        matches!(self.of, Kind::READ | Kind::DIGEST | Kind::WALK)
    }

    /// True if it cannot go on once the rail has gone off by itself.
    pub(super) fn ends_with_supply(&self) -> bool {
        self.can_be_halted() || matches!(self.task, Task::RailOn | Task::Run(_))
    }

    pub(super) fn fault(&self, code: FaultCode, detail: u32) -> Reply {
        Reply::Fault(Fault { of: self.of, id: self.id, code, detail })
    }

    pub(super) fn busy(&self) -> Reply {
        let (done, whole) = match &self.task {
            Task::Digest(digest) => (digest.done, digest.echo.count),
            Task::Run(run) => run.progress(),
            Task::Walk(walk) => walk.progress(),
            _ => (0, 0),
        };
        Reply::Busy(Busy { of: self.of, id: self.id, done, whole })
    }
}

impl DigestWork {
    /// The cycles of the next slice.
    fn next_slice(&self, charged: bool) -> Span {
        let longest = if charged { SLICE } else { INSTANT_SLICE };
        let span = self.echo.span();
        // Within 32 bits: the span was checked against the address lines.
        let start = i64::from(span.start.0) + i64::from(span.step) * i64::from(self.done);
        let start = WordAddress(u32::try_from(start).unwrap_or(0));
        Span { start, step: span.step, count: longest.min(span.count - self.done) }
    }
}

impl Adapter {
    /// Goes on with the work: its slice has ended or BUSY is due.
    pub(super) fn go_on(&mut self, t: Nanos) {
        let Some(mut work) = self.work.take() else { return };
        if t < work.slice_ends {
            if !self.session.ending {
                self.answer_at_once(work.tag, &work.busy());
            }
            work.next_busy = Some(t + BUSY_EVERY);
            self.work = Some(work);
            return;
        }
        if let Task::Run(run) = &mut work.task {
            match self.step_run(t, run) {
                Some(next) => {
                    work.slice_ends = next;
                    self.work = Some(work);
                }
                None => self.end_run(t, work.tag, run),
            }
            return;
        }
        if let Some(code) = work.halt.filter(|_| work.can_be_halted()) {
            self.end(&work, &work.fault(code, 0), None);
            return;
        }
        if let Task::Digest(digest) = &mut work.task
            && digest.done < digest.echo.count
        {
            self.slice(digest);
            digest.begun += self.pay();
            work.slice_ends = self.digest_time(work.started, digest);
            self.work = Some(work);
            return;
        }
        if let Task::Walk(walk) = &mut work.task
            && !walk.is_done()
        {
            work.slice_ends = t + self.turn(walk);
            self.work = Some(work);
            return;
        }
        let (reply, then_rate) = self.outcome(&mut work, t);
        self.end(&work, &reply, then_rate);
    }

    fn end(&mut self, work: &Work, reply: &Reply, then_rate: Option<Baud>) {
        let ended = std::mem::take(&mut self.session.ending);
        // A reply without nonce could be taken by the new host for its own.
        if !ended || work.can_be_halted() {
            self.answer(work.tag, reply, then_rate);
        }
    }

    fn outcome(&mut self, work: &mut Work, t: Nanos) -> (Reply, Option<Baud>) {
        let done = Task::Answer(work.fault(FaultCode::HALTED, 0), None);
        match std::mem::replace(&mut work.task, done) {
            Task::Answer(reply, then_rate) => (reply, then_rate),
            Task::Walk(walk) => (walk.reply(), None),
            // A run has its own end; see `go_on`.
            Task::Run(_) => (work.fault(FaultCode::HALTED, 0), None),
            Task::Digest(digest) => {
                let DigestWork { echo, digester, .. } = *digest;
                (Reply::Digest(DigestReply { echo, digest: digester.finish() }), None)
            }
            Task::RailOn => match self.rail.verdict(t) {
                Ok(()) => {
                    self.books.rail(t, true, RailWhy::Asked);
                    self.socket.power(t, self.rail.true_mv(t));
                    (self.rail_reply(t, t.since(work.started)), None)
                }
                Err(highest) => {
                    self.let_go();
                    self.books.rail(t, false, RailWhy::DidNotRise);
                    self.socket.power(t, self.rail.rests_at());
                    (work.fault(FaultCode::RAIL_DID_NOT_RISE, u32::from(highest)), None)
                }
            },
            Task::RailOff => match self.rail.fallen(t) {
                Ok(()) => (self.rail_reply(t, t.since(work.started)), None),
                Err(mv) => (work.fault(FaultCode::POWERED_THROUGH_LINES, u32::from(mv)), None),
            },
        }
    }

    pub(super) fn rail_reply(&self, t: Nanos, took: Nanos) -> Reply {
        Reply::Rail(RailReply {
            state: self.rail.state(t),
            mv: self.rail.mv(t),
            measured: self.config.sensed,
            rail_counter: self.rail.counter(),
            took_ms: u16::try_from(took.as_millis()).unwrap_or(u16::MAX),
        })
    }

    /// Reads the next words of a DIGEST.
    fn slice(&mut self, digest: &mut DigestWork) {
        let span = digest.next_slice(self.costs.charged());
        let mut words: Vec<Word> = Vec::with_capacity(span.count as usize);
        self.socket.read_burst(&digest.shape, span, digest.echo.precharge, &mut words);
        for word in words {
            digest.digester.push(word);
        }
        digest.done += span.count;
        self.books.words_read += u64::from(span.count);
    }

    fn digest_time(&self, started: Nanos, digest: &DigestWork) -> Nanos {
        if self.costs.charged() {
            return digest.begun + self.costs.times_over(digest.done, digest.per_word);
        }
        started + INSTANT_TIME * u64::from(digest.done.div_ceil(INSTANT_SLICE))
    }
}
