//! The simulated adapter: the wire text as a value that is handed bytes and time.

mod begin_run;
mod chain;
mod counted;
mod frames;
mod lines;
mod permits;
mod queue;
mod repeat;
mod run_env;
mod runs;
mod scripts;
mod serve;
mod shapes;
mod timers;
mod work;

use self::chain::RunChain;
use self::counted::Counted;
use self::lines::LineState;
use self::permits::Permits;
use self::queue::Queue;
use self::scripts::{RUN_REPLY_HEAD, Scripts};
use self::shapes::ShapeTable;
use self::timers::Trial;
use self::work::{Task, Work};
use super::books::{Books, RailWhy};
use super::config::AdapterConfig;
use super::costs::Costs;
use super::event::Event;
use super::rail::Rail;
use super::socket::Socket;
use super::transmitter::{Sent, Transmitter};
use crate::bus::{Baud, Levels, Millivolts, Nanos};
use crate::wire::{Fault, FaultCode, FrameReader, HoldRequest, RailAction, Reply, Request};

/// Who the adapter talks to.
#[derive(Clone, Copy, Debug, Default)]
struct Session {
    current: Option<u32>,
    previous: u32,
    /// The last run of the session before, and its status.
    previous_run: u32,
    previous_status: u8,
    /// Work of the session before is being ended.
    ending: bool,
}

/// The simulated adapter.
///
/// After every call that takes `now`, ask [`Adapter::poll_transmit`] until it gives nothing, then
/// [`Adapter::poll_timeout`] for when to call [`Adapter::handle_timeout`]. Calls that come late
/// change no time: what was due earlier is done as of when it was due.
pub struct Adapter {
    config: AdapterConfig,
    costs: Costs,
    socket: Box<dyn Socket>,
    rng: fastrand::Rng,
    reader: FrameReader,
    tx: Transmitter,
    shapes: ShapeTable,
    permits: Permits,
    scripts: Scripts,
    chain: RunChain,
    /// Levels of control lines that scripts have set.
    set: Levels,
    /// The lines that LINES has set.
    lines: LineState,
    /// The cycle that HOLD keeps.
    holding: Option<HoldRequest>,
    /// The rail goes off as soon as the run at work has ended.
    dead_man_waits: bool,
    rail: Rail,
    counted: Counted,
    queue: Queue,
    work: Option<Work>,
    session: Session,
    boot_id: u32,
    boot_until: Option<Nanos>,
    last_good: Nanos,
    trial: Option<Trial>,
    /// The next change of rate is a way back.
    going_back: bool,
    overruns: u32,
    /// Good frames whose kind has bit 7 set.
    echoes: u64,
    books: Books,
}

impl Adapter {
    /// An adapter that has long been up, with `socket` plugged in; `seed` gives its boot ids.
    pub fn new(mut config: AdapterConfig, socket: Box<dyn Socket>, seed: u64) -> Self {
        let sizes = &mut config.sizes;
        let words = sizes.tx_body_max.saturating_sub(RUN_REPLY_HEAD) / 4;
        sizes.emit_remembered = sizes.emit_remembered.min(words);
        let mut rng = fastrand::Rng::with_seed(seed);
        Self {
            costs: Costs::new(config.clock_hz, config.charged),
            reader: FrameReader::new(usize::from(config.sizes.rx_body_max)),
            tx: Transmitter::new(config.reset_rate, config.charged),
            shapes: ShapeTable::default(),
            permits: Permits::default(),
            scripts: Scripts::default(),
            chain: RunChain::new(config.sizes.runs_remembered),
            set: Levels::default(),
            lines: LineState::default(),
            holding: None,
            dead_man_waits: false,
            rail: Rail::new(config.rail, config.sensed),
            counted: Counted::new(config.at_cycles.clone()),
            queue: Queue::new(config.sizes.rx_queue_bytes),
            work: None,
            session: Session::default(),
            boot_id: rng.u32(1..),
            boot_until: None,
            last_good: Nanos::ZERO,
            trial: None,
            going_back: false,
            overruns: 0,
            echoes: 0,
            books: Books::default(),
            config,
            socket,
            rng,
        }
    }

    /// Takes bytes whose last one has arrived at `now`, at the adapter's rate.
    pub fn handle(&mut self, now: Nanos, bytes: &[u8]) {
        self.handle_timeout(now);
        if self.boot_until.is_some() {
            return;
        }
        let mut bodies = Vec::new();
        self.reader.push(bytes, |body| bodies.push(body.to_vec()));
        for body in bodies {
            self.frame(now, &body);
            self.pump(now);
        }
    }

    /// The next frame that has started on the line by `now`.
    pub fn poll_transmit(&mut self, now: Nanos) -> Option<Sent> {
        self.tx.poll(now)
    }

    /// When something happens without a byte coming in.
    pub fn poll_timeout(&self) -> Option<Nanos> {
        if self.boot_until.is_some() {
            return self.boot_until;
        }
        let work = self.work.as_ref().map(Work::due);
        let due = [self.tx.due(), work, self.rail.due(), self.counted.due(), self.next_timer()];
        due.into_iter().flatten().min()
    }

    /// Does everything that is due by `now`, in order.
    pub fn handle_timeout(&mut self, now: Nanos) {
        while let Some(t) = self.poll_timeout().filter(|t| *t <= now) {
            self.step(t);
        }
    }

    /// The rate of transmitter and receiver now.
    pub fn rate(&self) -> Baud {
        self.tx.rate()
    }

    /// Restarts it: a new boot id, everything lost, the rail off, silent for the boot time.
    pub fn reset(&mut self, now: Nanos) {
        self.handle_timeout(now);
        self.restart(now);
    }

    /// What has happened to it of itself, for whoever has its line in hand.
    pub(super) fn poll_event(&mut self) -> Option<Event> {
        self.counted.tell()
    }

    fn restart(&mut self, now: Nanos) {
        if self.rail.is_closed() {
            self.books.rail(now, false, RailWhy::Reset);
        }
        self.rail.reset(now);
        self.socket.power(now, self.rail_floor());
        self.reader = FrameReader::new(usize::from(self.config.sizes.rx_body_max));
        self.tx.reset(self.config.reset_rate);
        self.shapes = ShapeTable::default();
        self.permits.clear();
        self.scripts.clear();
        self.chain = RunChain::new(self.config.sizes.runs_remembered);
        self.let_go();
        self.dead_man_waits = false;
        self.queue.clear();
        self.work = None;
        self.session = Session::default();
        let old = self.boot_id;
        while self.boot_id == old {
            self.boot_id = self.rng.u32(1..);
        }
        self.boot_until = Some(now + self.config.boot_time);
        self.last_good = now;
        self.trial = None;
        self.going_back = false;
        self.overruns = 0;
        self.echoes = 0;
        self.books.resets += 1;
        self.books.ids_begin();
    }

    /// The rail falls to `mv` at `now`.
    pub fn sag(&mut self, now: Nanos, mv: Millivolts) {
        self.handle_timeout(now);
        self.sag_at(now, mv);
        self.pump(now);
    }

    /// The rail's current limit is reached at `now`.
    pub fn over_current(&mut self, now: Nanos) {
        self.handle_timeout(now);
        self.trip_at(now);
        self.pump(now);
    }

    /// What it has seen and done.
    pub fn books(&self) -> &Books {
        &self.books
    }

    /// What it was made with.
    pub fn config(&self) -> &AdapterConfig {
        &self.config
    }

    /// The boot id, new at each reset.
    pub fn boot_id(&self) -> u32 {
        self.boot_id
    }

    /// True if the module has its supply.
    pub fn rail_is_on(&self) -> bool {
        self.rail.is_on()
    }

    /// True while HOLD keeps a cycle still.
    pub fn is_holding(&self) -> bool {
        self.holding.is_some()
    }

    /// What is plugged in.
    pub fn socket(&self) -> &dyn Socket {
        &*self.socket
    }

    /// What is plugged in, to change it.
    pub fn socket_mut(&mut self) -> &mut dyn Socket {
        &mut *self.socket
    }

    /// Bytes of requests and replies held, so that a test can see that they stay bounded.
    #[cfg(test)]
    pub(super) fn held_bytes(&self) -> usize {
        self.queue.bytes() + self.tx.held_bytes()
    }

    fn step(&mut self, t: Nanos) {
        if self.boot_until.take().is_some() {
            self.last_good = t;
            return;
        }
        if let Some(old) = self.tx.switch(t) {
            self.reader.reset();
            self.begin_trial(t, old);
        }
        match self.counted.take() {
            Some(Event::Reset) => return self.restart(t),
            Some(Event::Sag(mv)) => self.sag_at(t, mv),
            Some(Event::OverCurrent) => self.trip_at(t),
            Some(Event::Unplug | Event::Replug) | None => {}
        }
        if let Some(mv) = self.rail.due_sag(t) {
            self.sag_at(t, mv);
        }
        if self.work.as_ref().is_some_and(|work| work.due() <= t) {
            self.go_on(t);
        }
        self.check_timers(t);
        self.pump(t);
    }

    /// Starts what can be started: frames on the line, then the next request.
    fn pump(&mut self, t: Nanos) {
        loop {
            let sent = self.tx.start(t);
            let began = self.begin_next(t);
            if !sent && !began {
                return;
            }
        }
    }

    fn trip_at(&mut self, t: Nanos) {
        if self.rail.over_current(t) {
            self.books.rail(t, false, RailWhy::OverCurrent);
            self.lost_supply(t, FaultCode::OVER_CURRENT, 0);
        }
    }

    fn sag_at(&mut self, t: Nanos, mv: Millivolts) {
        if !self.rail.is_closed() {
            return;
        }
        if self.rail.sag(t, mv) {
            self.books.rail(t, false, RailWhy::Sagged);
            self.lost_supply(t, FaultCode::RAIL_SAGGED, u32::from(mv.0));
        } else {
            self.socket.power(t, mv);
        }
    }

    /// The rail was opened without being asked: what needed it ends at once.
    fn lost_supply(&mut self, t: Nanos, code: FaultCode, detail: u32) {
        self.permits.clear();
        self.halt_runs();
        self.let_go();
        self.socket.power(t, self.rail_floor());
        // What tripped it is still there: a RAIL on that was sent before must not try again.
        self.refuse_waiting(
            code,
            detail,
            |request| matches!(request, Request::Rail(rail) if rail.action == RailAction::On),
        );
        if let Some(work) = self.work.take_if(|work| work.ends_with_supply()) {
            if matches!(work.task, Task::Run(_)) {
                return self.run_loses_power(t, work);
            }
            self.session.ending = false;
            self.answer(work.tag, &work.fault(code, detail), None);
        }
    }

    /// Lets go of the cycle that HOLD keeps and of the lines that LINES has set.
    fn release(&mut self) {
        self.holding = None;
        self.lines = LineState::default();
    }

    /// Lets go of every control line: the rail goes off.
    fn let_go(&mut self) {
        self.release();
        self.shapes.let_go();
        self.set = Levels::default();
        self.socket.control(self.set);
    }

    /// What the module sees once the switch is open.
    fn rail_floor(&self) -> Millivolts {
        self.rail.rests_at()
    }

    /// Hands a reply to the transmitter in its turn.
    fn answer(&mut self, tag: u8, reply: &Reply, then_rate: Option<Baud>) {
        self.book(reply);
        self.tx.finish(reply.encode(tag), then_rate);
    }

    /// Hands a small reply to the transmitter before those that wait.
    fn answer_at_once(&mut self, tag: u8, reply: &Reply) {
        if self.tx.at_once(reply.encode(tag)) {
            self.book(reply);
        } else {
            self.overruns = self.overruns.saturating_add(1);
        }
    }

    fn book(&mut self, reply: &Reply) {
        self.books.reply(reply.kind());
        if let Reply::Fault(Fault { code, .. }) = reply {
            self.books.fault(*code);
        }
    }
}
