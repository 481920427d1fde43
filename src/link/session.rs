//! The session core: requests out, replies in, in the order and with the repeats of `docs/wire.md`.

mod timeouts;

use super::asked::{Flying, Transmit, Waiting};
use super::expect::{allowance, answers, fault_error, is_immediate};
use super::{LinkError, LinkStats};
use crate::bus::{Baud, Millivolts, Nanos};
use crate::wire::{
    FaultCode, FrameReader, HelloReply, RailAction, RailState, Reply, Request,
    encode_frame_after_idle,
};
use std::collections::{HashMap, VecDeque};

/// Repeats before a request counts as unanswered.
const ATTEMPTS: u32 = 10;
/// Added to what line and adapter need: bridge and network delays of two directions and a margin.
const PATIENCE: Nanos = Nanos::from_millis(250);
/// A longer way is taken for a computer that was busy.
const ROUND_TRIP_MAX: Nanos = Nanos::from_secs(1);
/// The host is heard at least so often while a session is open (the dead-man waits 5 s).
const KEEP_ALIVE: Nanos = Nanos::from_secs(1);
/// So long without a word from the host, and the adapter's dead-man switches the rail off.
const DEAD_MAN: Nanos = Nanos::from_secs(5);
/// After a BUSY the next word comes in about a second.
const BUSY_PATIENCE: Nanos = Nanos::from_millis(3_000);
/// Longest body that any adapter may send; HELLO comes before its sizes are known.
const BODY_MAX: usize = 4_096;
/// Request bytes that any adapter can hold before HELLO tells.
const QUEUE_UNKNOWN: usize = 64;

/// Request bytes in flight beyond which more only delays what has to be asked again: twenty READs,
/// twice what a bridge of 16 ms each way needs at 3 Mbaud.
const READS_AHEAD: usize = 512;

/// Names one submitted request.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Ticket(u64);

/// One host session with one adapter, as a value without clock or port.
///
/// Call [`handle_bytes`](Self::handle_bytes) when bytes arrive, [`handle_timeout`](
/// Self::handle_timeout) at [`poll_timeout`](Self::poll_timeout), and send what
/// [`poll_transmit`](Self::poll_transmit) gives after either and after a submit.
pub struct Session {
    now: Nanos,
    reader: FrameReader,
    number: u32,
    baud: Option<Baud>,
    clock_hz: u32,
    queue_bytes: usize,
    boot_id: Option<u32>,
    /// The HELLOs sent so far: tag, rate asked at, and when.
    hellos: Vec<(u8, Option<Baud>, Nanos)>,
    /// From a HELLO to its answer: what the line takes in both directions.
    round_trip: Nanos,
    rail_on: bool,
    stopping: bool,
    waiting: VecDeque<Waiting>,
    flying: Vec<Flying>,
    results: HashMap<Ticket, Result<Reply, LinkError>>,
    out: VecDeque<Transmit>,
    wakes: Vec<Nanos>,
    next_ticket: u64,
    next_tag: u8,
    next_order: u64,
    /// When everything asked so far should be answered.
    answered_by: Nanos,
    last_heard: Nanos,
    last_sent: Nanos,
    /// How long this host has been silent, if long enough for the dead-man.
    silent: Option<Nanos>,
    ping: Option<Ticket>,
    lost: Option<LinkError>,
    stats: LinkStats,
}

impl Session {
    /// A session numbered `number` (random, new for every run of the program) over a line at
    /// `baud`, or over one without a rate.
    pub fn new(number: u32, baud: Option<Baud>) -> Self {
        Self {
            now: Nanos::ZERO,
            reader: FrameReader::new(BODY_MAX),
            number,
            baud,
            clock_hz: 8_000_000,
            queue_bytes: QUEUE_UNKNOWN,
            boot_id: None,
            hellos: Vec::new(),
            round_trip: Nanos::ZERO,
            rail_on: false,
            stopping: false,
            waiting: VecDeque::new(),
            flying: Vec::new(),
            results: HashMap::new(),
            out: VecDeque::new(),
            wakes: Vec::new(),
            next_ticket: 0,
            next_tag: 0,
            next_order: 0,
            answered_by: Nanos::ZERO,
            last_heard: Nanos::ZERO,
            last_sent: Nanos::ZERO,
            silent: None,
            ping: None,
            lost: None,
            stats: LinkStats::default(),
        }
    }

    /// The host's session number.
    pub fn number(&self) -> u32 {
        self.number
    }

    /// The time of the last call that told one.
    pub fn now(&self) -> Nanos {
        self.now
    }

    /// Tells the time; it never goes back.
    pub fn set_now(&mut self, now: Nanos) {
        self.now = self.now.max(now);
    }

    /// What has been counted.
    pub fn stats(&self) -> LinkStats {
        let counters = self.reader.counters();
        LinkStats { frames_damaged: counters.damaged + counters.overlong, ..self.stats }
    }

    /// How long a HELLO and its answer took.
    pub fn round_trip(&self) -> Nanos {
        self.round_trip
    }

    /// The line rate; `None` where the line has none.
    pub fn baud(&self) -> Option<Baud> {
        self.baud
    }

    /// Takes the adapter's sizes from HELLO; from now on its boot id must stay the same.
    pub fn open(&mut self, hello: &HelloReply) {
        self.queue_bytes = usize::from(hello.sizes.rx_queue_bytes).max(QUEUE_UNKNOWN);
        self.clock_hz = hello.clock_hz;
        self.boot_id = Some(hello.boot_id);
        self.hellos.clear();
    }

    /// Changes the line rate after everything that is to be sent.
    pub fn set_rate(&mut self, rate: Baud) {
        self.baud = Some(rate);
        self.reader.reset();
        self.out.push_back(Transmit::Rate(rate));
    }

    /// Asks for `request`; it is repeated until it is answered or the session ends.
    pub fn submit(&mut self, request: Request) -> Ticket {
        self.enqueue(request, None)
    }

    /// Asks once and waits at most `patience`.
    pub fn submit_once(&mut self, request: Request, patience: Nanos) -> Ticket {
        self.enqueue(request, Some(patience))
    }

    fn enqueue(&mut self, request: Request, once: Option<Nanos>) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket += 1;
        if let Some(error) = &self.lost {
            let error = error.clone();
            self.results.insert(ticket, Err(error));
        } else {
            let bytes = encode_frame_after_idle(&request.encode(0)).len();
            self.waiting.push_back(Waiting { ticket, request, bytes, once });
        }
        ticket
    }

    /// The job is asked to stop: a search for the adapter ends.
    pub(super) fn stop_searching(&mut self) {
        self.stopping = true;
    }

    /// True once the job was asked to stop.
    pub(super) fn is_stopping(&self) -> bool {
        self.stopping
    }

    /// Requests whose answers are on their way.
    pub(super) fn in_flight(&self) -> usize {
        self.flying.len()
    }

    /// Requests that wait or fly.
    #[cfg(test)]
    pub(super) fn outstanding(&self) -> usize {
        self.waiting.len() + self.flying.len()
    }

    /// The answer to `ticket`, given once.
    pub fn take_result(&mut self, ticket: Ticket) -> Option<Result<Reply, LinkError>> {
        self.results.remove(&ticket)
    }

    /// Wants no answer to `ticket` any more.
    pub fn forget(&mut self, ticket: Ticket) {
        self.waiting.retain(|w| w.ticket != ticket);
        self.flying.retain(|f| f.ticket != ticket);
        self.results.remove(&ticket);
    }

    /// Asks to be called at `at`, for somebody who waits.
    pub fn wake_at(&mut self, at: Nanos) {
        self.wakes.push(at);
    }

    /// Ends everything asked so far with [`LinkError::Aborted`]; what is submitted afterwards
    /// (STOP, rail off) still goes out.
    pub fn abort(&mut self) {
        self.fail_all(&LinkError::Aborted);
    }

    /// The port is gone: everything asked and everything that will be asked fails.
    pub fn unplugged(&mut self) {
        self.lose(LinkError::Unplugged);
    }

    /// Why nothing more can be asked, once that is so.
    pub fn lost(&self) -> Option<&LinkError> {
        self.lost.as_ref()
    }

    /// What a rail that is off means after this host was silent for long.
    pub fn dead_man(&self) -> Option<LinkError> {
        self.silent.map(|silent| LinkError::HostSilent { silent_ms: silent.as_millis() })
    }

    /// Tries once more after silence: what is submitted from now on goes out.
    pub fn reopen(&mut self) {
        if matches!(self.lost, Some(LinkError::Silent { .. })) {
            self.lost = None;
        }
    }

    fn lose(&mut self, error: LinkError) {
        if self.lost.is_none() {
            self.fail_all(&error);
            self.lost = Some(error);
        }
    }

    fn fail_all(&mut self, error: &LinkError) {
        let waiting = self.waiting.drain(..).map(|w| w.ticket);
        let flying = self.flying.drain(..).map(|f| f.ticket);
        for ticket in waiting.chain(flying) {
            self.results.insert(ticket, Err(error.clone()));
        }
        self.ping = None;
    }

    /// The next thing to send. Call until it gives nothing, after every other call.
    pub fn poll_transmit(&mut self, now: Nanos) -> Option<Transmit> {
        self.set_now(now);
        if self.out.is_empty() {
            self.launch();
        }
        let next = self.out.pop_front();
        if let Some(Transmit::Bytes(bytes)) = &next {
            let gap = self.now.since(self.last_sent);
            if self.boot_id.is_some() && gap >= DEAD_MAN {
                self.silent = self.silent.max(Some(gap));
            }
            self.last_sent = self.now;
            self.stats.frames_sent += 1;
            self.stats.bytes_sent += bytes.len() as u64;
        }
        next
    }

    /// Sends what waits as far as the adapter has room for it.
    fn launch(&mut self) {
        while let Some(next) = self.waiting.front() {
            let immediate = is_immediate(&next.request);
            if !immediate && !self.has_room(next) {
                // An immediate request behind it must not wait for the queue.
                let Some(at) = self.waiting.iter().position(|w| is_immediate(&w.request)) else {
                    return;
                };
                if let Some(first) = self.waiting.remove(at) {
                    self.waiting.push_front(first);
                }
                continue;
            }
            let Some(next) = self.waiting.pop_front() else { return };
            let flying = next.take_off(self.now);
            self.send(flying);
        }
    }

    fn has_room(&self, next: &Waiting) -> bool {
        let queued = self.flying.iter().filter(|f| !is_immediate(&f.request));
        let used: usize = queued.map(|f| f.bytes).sum();
        let window = match next.request {
            Request::Read(_) => self.queue_bytes.min(READS_AHEAD),
            _ => self.queue_bytes,
        };
        used == 0 || used + next.bytes <= window
    }

    fn send(&mut self, mut flying: Flying) {
        // From here on a PING that tells of a falling rail is no surprise.
        if matches!(&flying.request, Request::Rail(rail) if rail.action == RailAction::Off) {
            self.rail_on = false;
        }
        flying.tag = self.free_tag();
        flying.order = self.next_order;
        self.next_order += 1;
        flying.attempts += 1;
        if matches!(flying.request, Request::Hello(_)) {
            self.hellos.retain(|(tag, ..)| *tag != flying.tag);
            self.hellos.push((flying.tag, self.baud, self.now));
        }
        let frame = encode_frame_after_idle(&flying.request.encode(flying.tag));
        let sending = self.baud.map_or(Nanos::ZERO, |baud| baud.time_of(frame.len() as u64));
        let work = allowance(&flying.request, self.baud, self.clock_hz);
        flying.deadline = match flying.once {
            Some(patience) => self.now + patience,
            None if is_immediate(&flying.request) => {
                self.now + sending + work + self.patience() + self.reply_in_transit()
            }
            None => {
                flying.work = work;
                self.answered_by = self.answered_by.max(self.now + sending) + work;
                self.answered_by + self.patience()
            }
        };
        self.out.push_back(Transmit::Bytes(frame));
        self.flying.push(flying);
    }

    /// An immediate reply waits behind what the transmitter already holds: two frames.
    fn reply_in_transit(&self) -> Nanos {
        self.baud.map_or(Nanos::ZERO, |baud| baud.time_of(2_200))
    }

    /// Added to what line and adapter need; more where HELLO has taken long.
    fn patience(&self) -> Nanos {
        PATIENCE.max(self.round_trip * 2)
    }

    fn free_tag(&mut self) -> u8 {
        loop {
            self.next_tag = self.next_tag.wrapping_add(1);
            if self.flying.iter().all(|f| f.tag != self.next_tag) {
                return self.next_tag;
            }
        }
    }

    /// Takes bytes from the port.
    pub fn handle_bytes(&mut self, now: Nanos, bytes: &[u8]) {
        self.set_now(now);
        self.stats.bytes_received += bytes.len() as u64;
        let mut good = Vec::new();
        self.reader.push(bytes, |body| good.push(Reply::decode(body)));
        for decoded in good {
            self.stats.frames_received += 1;
            match decoded {
                Ok(Some((tag, reply))) => self.accept(tag, reply),
                _ => self.stats.frames_stray += 1,
            }
        }
    }

    fn accept(&mut self, tag: u8, reply: Reply) {
        // The answer to an earlier HELLO is as good, and tells the rate that the adapter is at.
        let earlier = self.hellos.iter().find(|(of, ..)| *of == tag).copied();
        let hello = matches!(reply, Reply::Hello(_)) && earlier.is_some();
        let found =
            self.flying.iter().position(|f| (f.tag == tag || hello) && answers(&f.request, &reply));
        let Some(at) = found else {
            self.stats.frames_stray += 1;
            return;
        };
        self.last_heard = self.now;
        if let Reply::Busy(_) = reply {
            let flying = &mut self.flying[at];
            flying.deadline = flying.deadline.max(self.now + BUSY_PATIENCE);
            self.answered_by = self.answered_by.max(self.now);
            return;
        }
        if let (true, Some((_, rate, sent))) = (hello, earlier) {
            self.round_trip = self.now.since(sent).min(ROUND_TRIP_MAX);
            if let Some(rate) = rate
                && self.baud != Some(rate)
            {
                self.set_rate(rate);
            }
        }
        let done = self.flying.swap_remove(at);
        if !is_immediate(&done.request) {
            // Only what is still on its way counts from here on, however little this one took.
            let left = self.flying.iter().fold(self.now, |sum, flying| sum + flying.work);
            self.answered_by = self.answered_by.min(left);
            self.repeat_overtaken(done.order);
        }
        match reply {
            Reply::Fault(fault) => {
                let error = fault_error(&done.request, &fault);
                if fault.code == FaultCode::RAIL_OFF {
                    // Known from here on: a PING that tells it again ends nothing more.
                    self.rail_on = false;
                }
                let error = match fault.code {
                    FaultCode::RAIL_OFF | FaultCode::HALTED => self.dead_man().unwrap_or(error),
                    _ => error,
                };
                if error.is_final() {
                    self.results.insert(done.ticket, Err(error.clone()));
                    self.lose(error);
                } else {
                    self.results.insert(done.ticket, Err(error));
                }
            }
            reply => {
                self.notice(&done.request, &reply);
                if self.ping == Some(done.ticket) {
                    self.ping = None;
                } else {
                    self.results.insert(done.ticket, Ok(reply));
                }
            }
        }
    }

    /// Queued requests are answered in order: those sent before an answered one are lost.
    fn repeat_overtaken(&mut self, order: u64) {
        let overtaken = |f: &Flying| f.order < order && !is_immediate(&f.request);
        while let Some(at) = self.flying.iter().position(overtaken) {
            let flying = self.flying.swap_remove(at);
            self.repeat(flying);
        }
    }

    fn repeat(&mut self, flying: Flying) {
        if flying.once.is_some() || flying.attempts >= ATTEMPTS {
            let waited = self.now.since(flying.first_sent);
            let error = LinkError::silent(flying.request.kind(), flying.attempts, waited);
            self.results.insert(flying.ticket, Err(error.clone()));
            if flying.once.is_none() {
                self.lose(error);
            }
            return;
        }
        self.stats.repeats += 1;
        self.send(flying);
    }

    /// Draws from a reply what the session itself must know.
    fn notice(&mut self, request: &Request, reply: &Reply) {
        match (request, reply) {
            (Request::Rail(rail), Reply::Rail(_)) if rail.action == RailAction::On => {
                self.rail_on = true;
            }
            (_, Reply::Ping(ping)) => {
                if self.boot_id.is_some_and(|boot| boot != ping.boot_id) {
                    self.lose(LinkError::Restarted);
                } else if self.rail_on && ping.rail != RailState::On {
                    self.rail_on = false;
                    let mv: Millivolts = ping.rail_min;
                    let error = LinkError::RailGone { why: "a PING tells", mv };
                    // A trip is the rail's own affair, however silent the host was.
                    let tripped = ping.rail == RailState::Tripped;
                    let silent = self.dead_man().filter(|_| !tripped);
                    self.fail_all(&silent.unwrap_or(error));
                }
            }
            _ => {}
        }
    }
}
