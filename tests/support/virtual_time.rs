//! A whole capture or verify over the simulated bench in simulated time.

#![allow(dead_code, reason = "every test binary uses a part of it")]
#![allow(clippy::expect_used, reason = "a test ends where its set-up fails")]

use buswright::app::{
    CaptureOptions, Event, Job, Known, Machine, Outcome, SimPort, Wanted, run_job,
};
use buswright::bus::Nanos;
use buswright::link::{Cancel, Port, PortLost, RatePlan, Transmit};
use buswright::sim::{Bench, BenchDescription, Socket};
use std::cell::Cell;
use std::path::Path;
use std::rc::Rc;

/// What a test does to the bench when time has passed.
type Act<'a> = Box<dyn FnMut(Nanos, &mut Bench) + 'a>;

/// Hears of an event.
pub type Heard<'a> = Box<dyn Fn(&Event) + 'a>;

/// A port that tells its time to others and may act on it.
pub struct Watched<'a> {
    port: &'a mut SimPort,
    now: Rc<Cell<Nanos>>,
    act: Act<'a>,
}

impl Port for Watched<'_> {
    fn now(&self) -> Nanos {
        self.port.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.port.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        let result = self.port.wait(until, into);
        self.now.set(self.port.now());
        (self.act)(self.port.now(), self.port.bench_mut());
        result
    }
}

/// What a job has come to, with the time of every event.
pub struct Run {
    /// The one outcome.
    pub outcome: Outcome,
    /// Everything told, with the simulated time.
    pub events: Vec<(Nanos, Event)>,
}

impl Run {
    /// The time of the first event that `wanted` takes.
    pub fn time_of(&self, wanted: impl Fn(&Event) -> bool) -> Option<Nanos> {
        self.events.iter().find(|(_, event)| wanted(event)).map(|(at, _)| *at)
    }

    /// Every note and the outcome, for assertions on words.
    pub fn words(&self) -> String {
        let notes = self.events.iter().filter_map(|(_, event)| match event {
            Event::Note { text } | Event::Caution { text } => Some(text.as_str()),
            _ => None,
        });
        notes.chain([self.outcome.text.as_str()]).collect::<Vec<_>>().join("\n")
    }
}

/// How to run a job.
pub struct Scenario<'a> {
    /// The bench.
    pub description: BenchDescription,
    /// The shelf's folder.
    pub shelf: &'a Path,
    /// What to do.
    pub job: Job,
    /// Names given by the user.
    pub wanted: Wanted,
    /// Rates.
    pub plan: RatePlan,
    /// Asked to stop through this.
    pub cancel: Cancel,
    /// Hears of every event while the job runs.
    pub heard: Option<Heard<'a>>,
}

impl<'a> Scenario<'a> {
    /// A capture of everything on the built-in bench `name`.
    pub fn capture(name: &str, shelf: &'a Path) -> Self {
        Self::of(BenchDescription::builtin(name).expect("a built-in bench"), shelf)
    }

    /// A capture of everything on a described bench.
    pub fn of(description: BenchDescription, shelf: &'a Path) -> Self {
        Self {
            description,
            shelf,
            job: Job::Capture(CaptureOptions::default()),
            wanted: Wanted::default(),
            plan: RatePlan::default(),
            cancel: Cancel::default(),
            heard: None,
        }
    }

    /// The described adapter and line with `socket` plugged in instead of the described module.
    pub fn port_with(&self, socket: Box<dyn Socket>) -> SimPort {
        SimPort::new(Bench::with_socket(&self.description, socket, 1))
    }

    /// Verify against `image` instead.
    pub fn verify(mut self, image: &str) -> Self {
        let image = image.to_string();
        self.job = Job::Verify { image, space: None, range: None, accept_simulated: false };
        self
    }

    /// Runs it on a new bench.
    pub fn run(&self) -> Run {
        self.run_with(|_, _| ())
    }

    /// Runs it on a new bench; `act` is called whenever time has passed.
    pub fn run_with(&self, act: impl FnMut(Nanos, &mut Bench)) -> Run {
        let mut port = SimPort::new(Bench::new(&self.description, 1));
        self.run_on(&mut port, act)
    }

    /// Runs it on a bench that is there already.
    pub fn run_on(&self, port: &mut SimPort, act: impl FnMut(Nanos, &mut Bench)) -> Run {
        let now = Rc::new(Cell::new(port.now()));
        let mut watched = Watched { port, now: Rc::clone(&now), act: Box::new(act) };
        let mut known = Known::load(self.shelf);
        let mut machine = Machine {
            port: &mut watched,
            plan: self.plan,
            identity: "sim",
            bench: Some(&self.description),
            known: &mut known,
            cancel: self.cancel.clone(),
            shelf: self.shelf,
        };
        let mut events = Vec::new();
        let outcome = run_job(&mut machine, &self.wanted, &self.job, &mut |event| {
            if let Some(heard) = &self.heard {
                heard(event);
            }
            events.push((now.get(), event.clone()));
        });
        Run { outcome, events }
    }
}
