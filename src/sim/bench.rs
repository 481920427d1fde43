//! The bench: adapter, line and faults as one value.

use super::adapter::Adapter;
use super::bridge::{Bridge, garbled};
use super::costs::line_time;
use super::description::{BenchDescription, Pace};
use super::event::Event;
use super::faulty::Faulty;
use super::mangler::{FrameFault, FrameFaults, Mangler};
use super::socket::Socket;
use crate::bus::{Baud, Nanos};
use crate::wire::Kind;
use std::collections::VecDeque;

/// Bytes on their way to the adapter.
#[derive(Debug)]
struct Chunk {
    arrives: Nanos,
    rate: Baud,
    bytes: Vec<u8>,
}

/// An event that waits for a number of requests.
#[derive(Debug)]
struct Trigger {
    kind: Kind,
    at_count: u64,
    event: Event,
}

/// A simulated bench as the host's serial port sees it.
///
/// After every call that takes `now`, ask [`Bench::poll_receive`] until it gives nothing, then
/// [`Bench::poll_timeout`] for when to call [`Bench::handle_timeout`]. Times are exact however late
/// the calls come.
pub struct Bench {
    adapter: Adapter,
    delay: Nanos,
    charged: bool,
    restarts_on_open: bool,
    now: Nanos,
    host_rate: Baud,
    host_free: Nanos,
    to_adapter: VecDeque<Chunk>,
    requests: Mangler,
    replies: Mangler,
    bridge: Bridge,
    events: Vec<(Nanos, Event)>,
    triggers: Vec<Trigger>,
    unplugged: bool,
}

impl Bench {
    /// The bench that `description` describes, with its own module plugged in.
    pub fn new(description: &BenchDescription, seed: u64) -> Self {
        Self::with_socket(description, description.module(seed), seed)
    }

    /// The same adapter and line with something else plugged in behind the described line faults.
    pub fn with_socket(description: &BenchDescription, socket: Box<dyn Socket>, seed: u64) -> Self {
        let line = &description.line;
        let faults = &description.line_faults;
        let socket: Box<dyn Socket> = if faults.is_empty() {
            socket
        } else {
            Box::new(Faulty::new(socket, faults.clone(), seed ^ 0xFA17))
        };
        let mut config = description.adapter.clone();
        config.charged = line.pace == Pace::Real;
        let odds = seed ^ description.fault_seed;
        Self {
            charged: config.charged,
            host_rate: config.reset_rate,
            adapter: Adapter::new(config, socket, seed),
            delay: line.delay,
            restarts_on_open: description.restarts_on_open,
            now: Nanos::ZERO,
            host_free: Nanos::ZERO,
            to_adapter: VecDeque::new(),
            requests: Mangler::new(description.request_faults, odds ^ 1),
            replies: Mangler::new(description.reply_faults, odds ^ 2),
            bridge: Bridge::new(line.packet, line.latency, line.delay, line.pace == Pace::Real),
            events: Vec::new(),
            triggers: Vec::new(),
            unplugged: false,
        }
    }

    /// A host opens the port: what was on its way to it is lost, and the board may restart.
    pub fn open(&mut self, now: Nanos) {
        self.advance(now);
        self.bridge.clear();
        if self.restarts_on_open && !self.unplugged {
            self.happen(Event::Reset);
        }
    }

    /// The host changes its rate; bytes already given keep the old one.
    pub fn set_host_rate(&mut self, now: Nanos, rate: Baud) {
        self.advance(now);
        let changes = !hears(self.adapter.rate(), rate) && rate != self.host_rate;
        self.host_rate = rate;
        if changes {
            self.bridge.garble(self.now);
        }
    }

    /// Bytes leave the host at `now`, behind those that are still leaving.
    pub fn host_send(&mut self, now: Nanos, bytes: &[u8]) {
        self.advance(now);
        if self.unplugged {
            return;
        }
        let bytes = self.requests.process(bytes);
        let start = self.host_free.max(self.now);
        let time = line_time(self.host_rate, bytes.len() as u64);
        self.host_free = if self.charged { start + time } else { start };
        if !bytes.is_empty() {
            let arrives = self.host_free + self.delay;
            self.to_adapter.push_back(Chunk { arrives, rate: self.host_rate, bytes });
        }
        self.advance(now);
    }

    /// The next packet that has reached the host by `now`.
    pub fn poll_receive(&mut self, now: Nanos) -> Option<Vec<u8>> {
        self.advance(now);
        self.bridge.poll(self.now)
    }

    /// When something happens without the host sending.
    pub fn poll_timeout(&self) -> Option<Nanos> {
        [self.next_step(), self.bridge.due()].into_iter().flatten().min()
    }

    /// Does everything that is due by `now`, in order.
    pub fn handle_timeout(&mut self, now: Nanos) {
        self.advance(now);
    }

    /// True if the cable is pulled at `now`.
    pub fn is_unplugged(&mut self, now: Nanos) -> bool {
        self.advance(now);
        self.unplugged
    }

    /// Makes `event` happen at `time`, or at once if that has passed.
    pub fn at(&mut self, time: Nanos, event: Event) {
        let place = self.events.partition_point(|(at, _)| *at <= time);
        self.events.insert(place, (time, event));
    }

    /// Makes `event` happen as soon as `n` more requests of `kind` have been begun.
    pub fn after(&mut self, n: u64, kind: Kind, event: Event) {
        let at_count = self.adapter.books().requests(kind) + n;
        self.triggers.push(Trigger { kind, at_count, event });
    }

    /// Damages the `n`th frame that the host sends from now; 1 is the next.
    pub fn damage_request(&mut self, n: u64, fault: FrameFault) {
        self.requests.plan(n, fault);
    }

    /// Damages the `n`th frame that the adapter sends from now; 1 is the next.
    pub fn damage_reply(&mut self, n: u64, fault: FrameFault) {
        self.replies.plan(n, fault);
    }

    /// Other odds for faults of frames from now on: requests, replies.
    pub fn set_faults(&mut self, requests: FrameFaults, replies: FrameFaults, seed: u64) {
        self.requests = Mangler::new(requests, seed ^ 1);
        self.replies = Mangler::new(replies, seed ^ 2);
    }

    /// Frames damaged so far: requests, replies.
    pub fn damaged(&self) -> (u64, u64) {
        (self.requests.damaged(), self.replies.damaged())
    }

    /// The adapter.
    pub fn adapter(&self) -> &Adapter {
        &self.adapter
    }

    /// The adapter, to change it.
    pub fn adapter_mut(&mut self) -> &mut Adapter {
        &mut self.adapter
    }

    fn next_step(&self) -> Option<Nanos> {
        let event = self.events.first().map(|(at, _)| *at);
        let chunk = self.to_adapter.front().map(|chunk| chunk.arrives);
        [event, chunk, self.adapter.poll_timeout()].into_iter().flatten().min()
    }

    fn advance(&mut self, now: Nanos) {
        while let Some(t) = self.next_step().filter(|t| *t <= now) {
            self.now = self.now.max(t);
            self.step();
        }
        self.now = self.now.max(now);
    }

    fn step(&mut self) {
        let t = self.now;
        if self.events.first().is_some_and(|(at, _)| *at <= t) {
            let (_, event) = self.events.remove(0);
            self.happen(event);
        } else if self.to_adapter.front().is_some_and(|chunk| chunk.arrives <= t) {
            if let Some(chunk) = self.to_adapter.pop_front() {
                self.adapter.handle_timeout(t);
                let heard = hears(self.adapter.rate(), chunk.rate);
                let bytes = if heard { chunk.bytes } else { garbled(&chunk.bytes) };
                self.adapter.handle(t, &bytes);
            }
        } else {
            self.adapter.handle_timeout(t);
        }
        self.collect();
    }

    /// Takes what the adapter sends, and fires the triggers whose count is reached.
    fn collect(&mut self) {
        loop {
            while let Some(mut sent) = self.adapter.poll_transmit(self.now) {
                if self.unplugged {
                    continue;
                }
                sent.bytes = self.replies.process(&sent.bytes);
                if !hears(sent.rate, self.host_rate) {
                    sent.bytes = garbled(&sent.bytes);
                }
                self.bridge.feed(&sent);
            }
            match self.adapter.poll_event() {
                Some(Event::Reset) => self.bridge.cut(self.now),
                Some(event @ Event::Unplug) => self.happen(event),
                _ => {}
            }
            let books = self.adapter.books();
            let reached = self.triggers.iter().position(|t| books.requests(t.kind) >= t.at_count);
            let Some(index) = reached else { return };
            let event = self.triggers.remove(index).event;
            self.happen(event);
        }
    }

    fn happen(&mut self, event: Event) {
        let t = self.now;
        match event {
            Event::Reset => {
                self.adapter.reset(t);
                self.bridge.cut(t);
            }
            Event::Unplug => {
                self.unplugged = true;
                self.to_adapter.clear();
                self.bridge.unplug(t);
            }
            Event::Replug => {
                self.unplugged = false;
                self.host_free = t;
            }
            Event::Sag(mv) => self.adapter.sag(t, mv),
            Event::OverCurrent => self.adapter.over_current(t),
        }
    }
}

/// True if both ends have the same rate; an adapter without a rate hears everything.
fn hears(adapter: Baud, host: Baud) -> bool {
    adapter.0 == 0 || adapter == host
}
