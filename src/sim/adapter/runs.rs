//! Runs at work: RUN and REPEAT, stepped in slices on the one clock.

use super::Adapter;
use super::chain::{AT_WORK, Place};
use super::permits::Permits;
use super::repeat::Repeating;
use super::run_env::RunEnv;
use super::scripts::RUN_REPLY_HEAD;
use super::shapes::ShapeTable;
use super::work::{Task, Work};
use crate::bus::Nanos;
use crate::bus::script::{Abort, LaneResult, Run, Status, Why};
use crate::wire::{FaultCode, RepeatReply, Reply, Request, RunReply};

/// Bus time between two looks at STOP, sag and timers.
const SLICE: Nanos = Nanos::from_micros(50);
/// Operations that a step makes at most while time stands still.
const UNITS: u64 = 4096;

/// What is run.
pub(super) enum Program {
    /// The script, and the checksum of the request.
    Script(Box<Run>, u32),
    Repeat(Repeating),
}

/// A run at work, with the shapes and permits of its beginning: it keeps them to its end, so that
/// a new session does not take them from its `finally`.
pub(super) struct RunWork {
    pub(super) place: Place,
    /// The slot of its script.
    pub(super) slot: Option<u8>,
    pub(super) program: Program,
    pub(super) shapes: ShapeTable,
    pub(super) permits: Permits,
    /// The longest from a request to stop to the end.
    pub(super) stop: Nanos,
    /// By how much the socket's clock is before the adapter's.
    pub(super) ahead: Nanos,
    /// Nothing is done before the end of the slice.
    pub(super) waiting: bool,
    /// Cycles made.
    pub(super) made: u32,
}

impl RunWork {
    fn abort(&mut self, reason: Abort) {
        match &mut self.program {
            Program::Script(run, _) => run.abort(reason),
            Program::Repeat(repeat) => repeat.abort(reason),
        }
    }

    /// The status, once it has ended.
    fn status(&self) -> Option<u8> {
        let why = match &self.program {
            Program::Script(run, _) => run.ended().map(|ended| ended.why),
            Program::Repeat(repeat) => repeat.ended(),
        };
        why.map(Why::number)
    }

    /// Cycles made and, of a REPEAT, cycles in all.
    pub(super) fn progress(&self) -> (u32, u32) {
        match &self.program {
            Program::Script(..) => (self.made, 0),
            Program::Repeat(repeat) => (repeat.state().0, repeat.state().1),
        }
    }

    fn reply(&self, room: u16) -> Reply {
        let id = self.place.id;
        let status = self.status().unwrap_or(AT_WORK);
        match &self.program {
            Program::Script(run, request_crc) => {
                Reply::Run(run_reply(run, self, *request_crc, room))
            }
            Program::Repeat(repeat) => {
                let (done, _, last) = repeat.state();
                Reply::Repeat(RepeatReply { id, status, done, last })
            }
        }
    }
}

fn run_reply(run: &Run, work: &RunWork, request_crc: u32, room: u16) -> RunReply {
    let emitted = run.emitted().to_vec();
    // Emitted words are promised; mismatches are listed as far as the reply has room.
    let left = usize::from(room).saturating_sub(usize::from(RUN_REPLY_HEAD) + emitted.len() * 4);
    let listed = run.mismatches().iter().take((left / 12).min(255));
    let listed = listed.map(|m| (m.address, m.expected, m.got)).collect();
    let ended = run.ended();
    RunReply {
        id: work.place.id,
        request_crc,
        status: work.status().unwrap_or(AT_WORK),
        at: ended.map_or(0, |e| e.at as u16),
        lanes: ended.map(|e| e.lanes.map(LaneResult::number)).unwrap_or_default(),
        a: ended.map(|e| e.a).unwrap_or_default(),
        d: ended.map_or(0, |e| e.d),
        elapsed_us: ended.map_or(0, |e| u32::try_from(e.elapsed.0 / 1_000).unwrap_or(u32::MAX)),
        mismatches: ended.map_or(0, |e| e.mismatches),
        listed,
        emitted,
    }
}

impl Adapter {
    /// The time of the socket that is `t` for the adapter, never before what the socket has done.
    pub(super) fn ahead(&self, t: Nanos) -> Nanos {
        self.socket.now().since(t)
    }

    /// Goes on with a run as of `t`; when to come back, or `None` once it has ended.
    pub(super) fn step_run(&mut self, t: Nanos, work: &mut RunWork) -> Option<Nanos> {
        if work.status().is_some() {
            return None;
        }
        let (now, wanted) = (self.socket.now(), t + work.ahead);
        if now < wanted {
            self.socket.delay(wanted.since(now));
        }
        // What is known to come is not run past.
        let coming = [self.rail.due(), self.next_timer()].into_iter().flatten();
        let until = coming.filter(|at| *at > t).chain([t + SLICE]).min().unwrap_or(t + SLICE);
        let op = self.costs.script();
        let mut env = RunEnv {
            socket: &mut *self.socket,
            shapes: &work.shapes,
            permits: &work.permits,
            config: &self.config,
            books: &mut self.books,
            set: &mut self.set,
            per_cycle: if self.costs.charged() { op } else { Nanos::ZERO },
            powered: self.rail.is_on(),
            counted: &mut self.counted,
            begun: t,
            made: &mut work.made,
        };
        let until = until + work.ahead;
        let status = match &mut work.program {
            Program::Script(run, _) => run.step(&mut env, until),
            Program::Repeat(repeat) => repeat.step(&mut env, until),
        };
        if status == Status::Running && self.socket.now() < until {
            // Operations without a cycle take time, too.
            self.socket.delay(op * UNITS);
        }
        work.waiting = matches!(status, Status::Waiting(_));
        let next = match status {
            Status::Waiting(time) => time,
            Status::Running | Status::Done => self.socket.now(),
        };
        let least = if status == Status::Done { t } else { t + Nanos(1) };
        Some((Nanos::ZERO + next.since(work.ahead)).max(least))
    }

    /// The run has ended: its reply is remembered and sent, and what waited for its end happens.
    pub(super) fn end_run(&mut self, t: Nanos, tag: u8, run: &RunWork) {
        let status = run.status().unwrap_or(AT_WORK);
        self.books.run_ended(run.place.id, status);
        let reply = run.reply(self.config.sizes.tx_body_max);
        if std::mem::take(&mut self.session.ending) {
            // The host that asked is gone; the next one finds the status in HELLO.
            if run.place.id.session == self.session.previous {
                self.session.previous_status = status;
            }
        } else {
            self.chain.end(&run.place, status, reply.clone());
            self.answer(tag, &reply, None);
        }
        if std::mem::take(&mut self.dead_man_waits) && self.rail.is_closed() {
            self.dead_man(t);
        }
    }

    /// Asks a run at work to end at its next safe point; true if there is one.
    pub(super) fn abort_run(&mut self, t: Nanos, reason: Abort) -> bool {
        let Some(work) = &mut self.work else { return false };
        let Task::Run(run) = &mut work.task else { return false };
        run.abort(reason);
        // A delay is a safe point, unless the run is in a critical stretch: it looks for itself.
        if run.waiting {
            work.slice_ends = work.slice_ends.min(t);
        }
        true
    }

    /// The rail went off by itself: a run at work ends at once, without `finally`.
    pub(super) fn run_loses_power(&mut self, t: Nanos, work: Work) {
        let Task::Run(mut run) = work.task else { return };
        match &mut run.program {
            Program::Script(run, _) => run.lose_power(),
            Program::Repeat(repeat) => repeat.lose_power(),
        }
        self.dead_man_waits = false;
        self.end_run(t, work.tag, &run);
    }

    /// Only a new chain goes on; runs that wait are refused in their turn.
    pub(super) fn halt_runs(&mut self) {
        self.chain.halt();
        self.release();
        self.refuse_waiting(FaultCode::HALTED, 0, |request| {
            matches!(request, Request::Run(_) | Request::Repeat(_) | Request::Hold(_))
        });
    }
}
