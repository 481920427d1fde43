//! The core thread: waits for commands in the port that is open, and works them off.

use super::by_hand::Orders;
use super::fold::Fold;
use super::handle::{Command, Common, Handle, Tone, lock};
use super::open::{Opened, open};
use super::running::Running;
use super::snapshot::{Doing, Phase, Rail, Snapshot};
use super::work::Work;
use crate::app::{Event, Known, PortName, Wanted};
use crate::image::in_keys;
use jiff::Timestamp;
use serde::Serialize;
use std::cell::Cell;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::channel;

/// How the workbench is started.
#[derive(Clone, Debug)]
pub struct Setup {
    /// Where things are kept.
    pub places: Places,
    /// The port to open at once.
    pub port: Option<PortName>,
    /// Sheet, adapter sheet, specimen.
    pub wanted: Wanted,
    /// The theme: a built-in name or a file.
    pub theme: Option<String>,
    /// No colours.
    pub mono: bool,
}

/// Where things are kept.
#[derive(Clone, Debug)]
pub struct Places {
    /// The data folder: what this machine remembers, and what is running.
    pub folder: PathBuf,
    /// Captures and histories.
    pub shelf: PathBuf,
    /// Every event goes to this file as JSON.
    pub log: Option<PathBuf>,
}

/// The file that gets every event.
#[derive(Default)]
pub(super) struct LogFile(Option<File>);

impl LogFile {
    pub(super) fn event(&mut self, event: &Event) {
        #[derive(Serialize)]
        struct Logged<'a> {
            time: Timestamp,
            #[serde(flatten)]
            event: &'a Event,
        }
        if let Some(file) = &mut self.0
            && let Ok(text) = serde_json::to_string(&Logged { time: Timestamp::now(), event })
        {
            // In one piece: two programs may append to the same file.
            let _ = file.write_all(format!("{text}\n").as_bytes());
        }
    }
}

/// The thread's own state.
pub(super) struct Core {
    pub(super) common: Arc<Common>,
    pub(super) orders: Orders,
    pub(super) places: Places,
    pub(super) known: Known,
    pub(super) opened: Option<Opened>,
    /// A simulated bench that is not connected: its module is still in it.
    aside: Option<Opened>,
    pub(super) wanted: Wanted,
    pub(super) fold: Fold,
    pub(super) running: Running,
    pub(super) log: LogFile,
    hung_up: bool,
}

/// Starts the core; `wake` is called when there is something new, until somebody has looked.
pub fn start(places: Places, wake: impl Fn() + Send + Sync + 'static) -> std::io::Result<Handle> {
    let log = match &places.log {
        Some(path) => Some(OpenOptions::new().create(true).append(true).open(path)?),
        None => None,
    };
    let common = Arc::new(Common::new(wake));
    let (commands, received) = channel();
    let mine = Arc::clone(&common);
    let thread = std::thread::Builder::new().name("core".into()).spawn(move || {
        let ended = Arc::clone(&mine);
        let whole = catch_unwind(AssertUnwindSafe(|| {
            let mut core = Core {
                orders: Orders {
                    commands: received,
                    common: Arc::clone(&mine),
                    present: Cell::new(0),
                },
                known: Known::load(&places.folder),
                running: Running::new(&places.folder),
                common: mine,
                places,
                opened: None,
                aside: None,
                wanted: Wanted::default(),
                fold: Fold::default(),
                log: LogFile(log),
                hung_up: false,
            };
            core.run()
        }));
        let code = whole.unwrap_or(3);
        // Whoever waits for a job must not wait for ever.
        ended.change(|shared| {
            shared.snapshot.doing = Doing::Nothing;
            shared.snapshot.over = true;
        });
        code
    })?;
    Ok(Handle { common, commands, thread: Some(thread) })
}

impl Core {
    /// Works until it is told to quit; gives the exit code.
    fn run(&mut self) -> u8 {
        let mut left = None;
        loop {
            let command = match left.take() {
                Some(command) => command,
                None => match self.wait() {
                    Some(command) => command,
                    None => return 0,
                },
            };
            match command {
                Command::Connect(port, wanted) => left = self.connect(&port, wanted),
                Command::Look(wanted) => {
                    self.wanted = wanted;
                    left = self.work("look", &Work::Look).1;
                }
                Command::Disconnect => self.close(Phase::Closed),
                Command::Run(word, job) => left = self.work(word, &Work::Job(job)).1,
                Command::RailOn => left = self.work("by hand", &Work::ByHand).1,
                Command::Order(super::Order::Lines) if self.opened.is_some() => {
                    left = self.work("lines", &Work::Lines).1;
                }
                Command::Order(_) if self.opened.is_none() => {
                    self.refuse("no adapter is connected");
                }
                Command::Order(_) => self.refuse("the rail is off: say `rail on` first"),
                Command::RailOff => {}
                Command::Started(yes) => self.started(yes),
                Command::RailMeasured => self.measured(),
                Command::HungUp => {
                    self.hung_up = true;
                    self.running.unseen();
                }
                Command::Quit => return self.quit(),
            }
            if self.hung_up {
                return self.quit();
            }
            self.drop_a_lost_port();
        }
    }

    fn quit(&mut self) -> u8 {
        let code = self.common.shared().snapshot.last_code.unwrap_or(0);
        self.close(Phase::Closed);
        code
    }

    /// The next command; meanwhile the port is watched, so that a pulled cable shows.
    fn wait(&mut self) -> Option<Command> {
        loop {
            let Some(opened) = &mut self.opened else { return self.orders.next().ok() };
            match self.orders.try_next() {
                Ok(Some(command)) => return Some(command),
                Ok(None) => {}
                Err(()) => return None,
            }
            // Nothing is expected: what arrives now is noise.
            if opened.port.wait(None, &mut Vec::new()).is_err() {
                self.say(Tone::Trouble, "the port is gone: the cable was pulled");
                self.close(Phase::Failed("the port is gone: the cable was pulled".into()));
            }
        }
    }

    /// A job found the port gone: there is no use in keeping it.
    fn drop_a_lost_port(&mut self) {
        let Some(opened) = &mut self.opened else { return };
        let now = opened.port.now();
        if opened.port.wait(Some(now), &mut Vec::new()).is_err() {
            self.close(Phase::Failed("the port is gone: the cable was pulled".into()));
        }
    }

    fn connect(&mut self, port: &PortName, wanted: Wanted) -> Option<Command> {
        self.close(Phase::Opening);
        let name = port.to_string();
        self.common.change(|shared| {
            let rail = Rail::NotAsked;
            // Counted on, so that a screen that looks seldom misses none.
            let looks = shared.snapshot.looks;
            shared.snapshot =
                Snapshot { port: name, phase: Phase::Opening, rail, looks, ..Snapshot::default() };
        });
        self.wanted = wanted;
        if let Some(text) = self.running.take(&port.to_string()) {
            self.say(Tone::Plain, text);
        }
        match open(port, &self.known, self.aside.take()) {
            Ok(opened) => {
                *lock(&self.common.attention) = Some(Arc::clone(&opened.attention));
                self.opened = Some(opened);
                self.work("look", &Work::Look).1
            }
            Err(error) => {
                let text = in_keys(&error.to_string());
                self.say(Tone::Trouble, &text);
                self.common.change(|shared| shared.snapshot.phase = Phase::Failed(text));
                None
            }
        }
    }

    fn close(&mut self, phase: Phase) {
        *lock(&self.common.attention) = None;
        if let Some(opened) = self.opened.take().filter(|opened| opened.made.is_some()) {
            self.aside = Some(opened);
        }
        self.running.give_back();
        self.common.change(|shared| {
            shared.snapshot.phase = phase;
            shared.snapshot.adapter = None;
        });
    }
}
