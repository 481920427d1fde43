//! Frames that come in: the session, what is answered at once, what waits.

use super::Adapter;
use super::chain::RunChain;
use super::queue::Ask;
use super::work::{Task, Work};
use crate::bus::Nanos;
use crate::bus::script::Abort;
use crate::sim::books::HostViolation;
use crate::sim::costs::Costs;
use crate::wire::{
    AtomicTimes, Fault, FaultCode, HelloReply, HelloRequest, Kind, PROTOCOL_MINOR, PingReply,
    Reply, Request, StopReply,
};

/// Where HELLO's session number stands; 0 is none.
const SESSION_AT: usize = 3;

impl Adapter {
    /// Takes the body of a good frame.
    pub(super) fn frame(&mut self, t: Nanos, body: &[u8]) {
        let (kind, tag) = (Kind(body[0]), body[1]);
        if kind.is_reply() {
            // Its own echo on a line that loops back: to answer it would never end, and it must
            // not hold the dead-man off.
            self.echoes += 1;
            return;
        }
        self.heard(t);
        let fault = |code, detail| Fault { of: kind, id: echo_id(kind, body), code, detail };
        let request = match Request::decode(body) {
            Ok(Some((_, Request::Hello(HelloRequest { session: 0, .. })))) => Err(SESSION_AT),
            Ok(Some((_, Request::Hello(hello)))) => return self.hello(t, tag, hello),
            Ok(request) => Ok(request.map(|(_, request)| request)),
            Err(malformed) => Err(malformed.at),
        };
        if self.session.current.is_none() && kind != Kind::HELLO {
            self.books.violation(t, HostViolation::NoSession(kind));
            return self.answer_at_once(tag, &Reply::Fault(fault(FaultCode::NO_SESSION, 0)));
        }
        let ask = match request {
            Ok(Some(Request::Ping)) => return self.ping(t, tag),
            Ok(Some(Request::Stop)) => return self.stop(t, tag),
            Ok(Some(request)) => Ask::Do(request),
            Ok(None) => {
                self.books.violation(t, HostViolation::Unknown(kind));
                Ask::Refuse(fault(FaultCode::UNKNOWN_REQUEST, 0))
            }
            Err(at) => {
                self.books.violation(t, HostViolation::Malformed(kind, at));
                let fault = fault(FaultCode::MALFORMED, at as u32);
                if matches!(kind, Kind::HELLO | Kind::PING | Kind::STOP) {
                    return self.answer_at_once(tag, &Reply::Fault(fault));
                }
                Ask::Refuse(fault)
            }
        };
        if self.session.ending {
            let left = self.time_left(t);
            return self.answer_at_once(tag, &Reply::Fault(fault(FaultCode::EARLIER_RUN, left)));
        }
        let Some(ask) = self.beside_run(tag, ask) else { return };
        let idle = self.work.is_none() && self.tx.has_room();
        if !self.queue.push(tag, ask, body.len(), idle) {
            self.books.violation(t, HostViolation::Overrun(kind));
            self.overruns = self.overruns.saturating_add(1);
        }
    }

    /// What a run at work does to a request that comes in: the same run again is told that it goes
    /// on, and gets the reply; its script cannot be replaced.
    fn beside_run(&mut self, tag: u8, ask: Ask) -> Option<Ask> {
        let (Some(Work { task: Task::Run(run), .. }), Ask::Do(request)) = (&self.work, &ask) else {
            return Some(ask);
        };
        if Self::place_of(request).is_some_and(|place| place == run.place) {
            if let Some(work) = &mut self.work {
                work.tag = tag;
                let busy = work.busy();
                self.answer_at_once(tag, &busy);
            }
            return None;
        }
        match request {
            Request::Script(script)
                if run.slot == Some(script.slot) && !self.scripts.same(script) =>
            {
                let (of, detail) = (Kind::SCRIPT, u32::from(script.slot));
                Some(Ask::Refuse(Fault { of, id: 0, code: FaultCode::SLOT_IN_USE, detail }))
            }
            _ => Some(ask),
        }
    }

    fn hello(&mut self, t: Nanos, tag: u8, hello: HelloRequest) {
        self.books.request(Kind::HELLO);
        // Another major number is told who this is and gets no session.
        if hello.major == self.config.major && self.session.current != Some(hello.session) {
            self.new_session(t, hello.session);
        }
        let still_running_ms = if self.session.ending { self.time_left(t) } else { 0 };
        let reply = self.hello_reply(hello.session, still_running_ms);
        self.answer_at_once(tag, &Reply::Hello(Box::new(reply)));
    }

    /// Shapes, scripts, permits, the run chain and waiting requests go; what is in work ends as after STOP; the rail stays.
    ///
    /// Requests that waited are dropped without a reply: some carry no nonce, and the new host
    /// could take the fault for its own.
    fn new_session(&mut self, t: Nanos, number: u32) {
        self.books.sessions += 1;
        self.books.ids_begin();
        self.session.previous = self.session.current.replace(number).unwrap_or(0);
        (self.session.previous_run, self.session.previous_status) = self.chain.last();
        self.chain = RunChain::new(self.config.sizes.runs_remembered);
        self.abort_run(t, Abort::Session);
        self.release();
        self.shapes.clear();
        self.scripts.clear();
        self.permits.clear();
        self.queue.clear();
        self.tx.forget_waiting();
        if let Some(work) = &mut self.work {
            work.halt = Some(FaultCode::SESSION_ENDED);
            self.session.ending = true;
        }
    }

    fn hello_reply(&self, session: u32, still_running_ms: u32) -> HelloReply {
        let config = self.config.clone();
        HelloReply {
            major: config.major,
            minor: PROTOCOL_MINOR,
            session,
            boot_id: self.boot_id,
            rail_counter: self.rail.counter(),
            still_running_ms,
            firmware: config.firmware,
            board: config.board,
            data_lines: config.data_lines,
            address_lines: config.address_lines,
            control: config.control,
            data_path: config.data_path,
            rails: config.rails,
            io_high: config.io_high,
            io_measured: config.io_measured,
            input_max: config.input_max,
            rail_limit_ma: config.limit_ma,
            supply: config.supply,
            rail_sensed: config.sensed,
            sizes: config.sizes,
            clock_hz: config.clock_hz,
            reset_rate: config.reset_rate,
            rates: config.rates,
            shortest: self.costs.shortest(),
            encodings: vec![0, 1],
            previous_session: self.session.previous,
            previous_run: self.session.previous_run,
            previous_status: self.session.previous_status,
            atomic: if config.promises { self.costs.in_atomic() } else { AtomicTimes::default() },
        }
    }

    fn ping(&mut self, t: Nanos, tag: u8) {
        self.books.request(Kind::PING);
        self.owed += Costs::ping();
        let seen = self.reader.counters();
        let (last_run, last_status) = self.chain.last();
        let count = |n: u64| u32::try_from(n).unwrap_or(u32::MAX);
        let reply = PingReply {
            boot_id: self.boot_id,
            rail_counter: self.rail.counter(),
            rail: self.rail.state(t),
            rail_mv: self.rail.mv(t),
            rail_min: self.rail.take_lowest(t),
            ready: self.socket.ready(),
            write_locked: self.config.write_locked,
            running: self.work.is_some(),
            last_run,
            last_status,
            permit_s: self.permits.seconds_left(t),
            frames_good: count(seen.good - self.echoes),
            frames_damaged: count(seen.damaged + seen.overlong + self.echoes),
            overruns: self.overruns,
        };
        self.answer_at_once(tag, &Reply::Ping(reply));
    }

    fn stop(&mut self, t: Nanos, tag: u8) {
        self.books.request(Kind::STOP);
        self.refuse_waiting(FaultCode::HALTED, 0, |request| {
            matches!(
                request,
                Request::Read(_) | Request::Digest(_) | Request::Lines(_) | Request::Walk(_)
            )
        });
        self.halt_runs();
        let within_ms = self.time_left(t);
        if let Some(work) = &mut self.work {
            work.halt.get_or_insert(FaultCode::HALTED);
        }
        self.abort_run(t, Abort::Stop);
        self.answer_at_once(tag, &Reply::Stop(StopReply { within_ms }));
    }

    /// Those waiting requests are refused in their turn.
    pub(super) fn refuse_waiting(
        &mut self,
        code: FaultCode,
        detail: u32,
        which: impl Fn(&Request) -> bool,
    ) {
        for queued in self.queue.waiting_mut() {
            if let Ask::Do(request) = &queued.ask
                && which(request)
            {
                let (of, id) = (request.kind(), request.echo_id());
                queued.ask = Ask::Refuse(Fault { of, id, code, detail });
            }
        }
    }

    /// Milliseconds until the work in hand has stopped, rounded up.
    fn time_left(&self, t: Nanos) -> u32 {
        let Some(work) = &self.work else { return 0 };
        let left = match &work.task {
            // In a delay it stops at once, unless a critical stretch says otherwise.
            Task::Run(run) if run.waiting => run.stop,
            Task::Run(run) => work.slice_ends.since(t) + run.stop,
            Task::Digest(_) | Task::Walk(_) => work.slice_ends.since(t),
            _ => work.ends.since(t),
        };
        left.0.div_ceil(1_000_000).max(1) as u32
    }
}

/// The nonce or run id of a body that may be malformed.
fn echo_id(kind: Kind, body: &[u8]) -> u32 {
    match (kind, body) {
        (Kind::READ | Kind::DIGEST | Kind::WALK, [_, _, low, high, ..]) => {
            u32::from(u16::from_le_bytes([*low, *high]))
        }
        (Kind::RUN | Kind::REPEAT | Kind::HOLD, [_, _, _, _, _, _, _, _, a, b, c, d, ..]) => {
            u32::from_le_bytes([*a, *b, *c, *d])
        }
        _ => 0,
    }
}
