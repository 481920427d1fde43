//! The screen's end: commands go in, snapshots and queued items come out.

use super::{Image, Snapshot};
use crate::app::{Job, PortName, Wanted};
use crate::jobs::{Answer, Order};
use crate::link::Cancel;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// Items that may wait for the screen. A job makes at most one a pass and one a doubtful block.
const ITEMS: usize = 600;

/// What the core is asked to do.
#[derive(Clone, Debug)]
pub enum Command {
    /// Open this port, look for an adapter, choose sheet and specimen.
    Connect(PortName, Wanted),
    /// Choose sheet and specimen anew; the port stays open.
    Look(Wanted),
    /// Close the port.
    Disconnect,
    /// A job, with the word that people use for it.
    Run(&'static str, Job),
    /// Rail on, for cycles by hand.
    RailOn,
    /// Rail off.
    RailOff,
    /// A person has measured the rail and found it off.
    RailMeasured,
    /// The instrument started with what was written last, or it did not.
    Started(bool),
    /// A cycle or something else by hand.
    Order(Order),
    /// The screen is gone: what runs is finished without it.
    HungUp,
    /// End.
    Quit,
}

/// How a line of the log is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Something happened.
    Plain,
    /// It ended well.
    Good,
    /// It did not, or something is in doubt.
    Trouble,
}

/// A line of the log; long ones have several.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The time of day, HH:MM:SS.
    pub time: String,
    /// How it is meant.
    pub tone: Tone,
    /// What it says.
    pub text: String,
}

/// Something that must not be missed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Item {
    /// A line for the log.
    Line(Line),
    /// The answer to an order.
    Answer(Answer),
}

/// What both threads see.
#[derive(Default)]
pub(super) struct Shared {
    pub(super) snapshot: Snapshot,
    pub(super) items: VecDeque<Item>,
    pub(super) image: Image,
    /// Items that had no room.
    pub(super) lost: u64,
}

impl Shared {
    /// Queues an item; the oldest goes where there is no room.
    pub(super) fn push(&mut self, item: Item) {
        if self.items.len() >= ITEMS {
            self.items.pop_front();
            self.lost += 1;
        }
        self.items.push_back(item);
    }
}

/// Calls the terminal thread, at most once until it has looked.
pub(super) struct Bell {
    rung: AtomicBool,
    wake: Box<dyn Fn() + Send + Sync>,
}

impl Bell {
    pub(super) fn new(wake: impl Fn() + Send + Sync + 'static) -> Self {
        Self { rung: AtomicBool::new(false), wake: Box::new(wake) }
    }

    /// Something is new.
    pub(super) fn ring(&self) {
        if !self.rung.swap(true, Ordering::AcqRel) {
            (self.wake)();
        }
    }

    fn heard(&self) {
        self.rung.store(false, Ordering::Release);
    }
}

/// What wakes the core while it waits in a port.
pub(super) type Attention = Arc<dyn Fn() + Send + Sync>;

/// What both threads hold.
pub(super) struct Common {
    pub(super) shared: Mutex<Shared>,
    pub(super) bell: Bell,
    /// How to stop the job at work.
    pub(super) cancel: Mutex<Option<Cancel>>,
    /// How to wake the core in the port that is open.
    pub(super) attention: Mutex<Option<Attention>>,
    /// Commands up to this number are void: they were given before a stop.
    pub(super) void: AtomicU64,
    /// Commands given so far.
    pub(super) sent: AtomicU64,
    /// The screen is gone.
    pub(super) hung_up: AtomicBool,
}

impl Common {
    pub(super) fn new(wake: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            shared: Mutex::new(Shared::default()),
            bell: Bell::new(wake),
            cancel: Mutex::new(None),
            attention: Mutex::new(None),
            void: AtomicU64::new(0),
            sent: AtomicU64::new(0),
            hung_up: AtomicBool::new(false),
        }
    }

    /// Gives a command, with its number.
    fn send(&self, to: &Sender<(u64, Command)>, command: Command) {
        let number = self.sent.fetch_add(1, Ordering::AcqRel) + 1;
        let _ = to.send((number, command));
        self.call();
    }

    fn call(&self) {
        let attention = lock(&self.attention).clone();
        if let Some(attention) = attention {
            attention();
        }
    }

    /// Asks for the safe state, and makes void what waits.
    fn stop(&self) {
        self.void.store(self.sent.load(Ordering::Acquire), Ordering::Release);
        if let Some(cancel) = &*lock(&self.cancel) {
            cancel.request();
        }
        self.call();
    }

    pub(super) fn shared(&self) -> MutexGuard<'_, Shared> {
        // A thread that panicked has left a snapshot that is as good as any.
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes what both see, and calls the terminal.
    pub(super) fn change(&self, change: impl FnOnce(&mut Shared)) {
        change(&mut self.shared());
        self.bell.ring();
    }
}

pub(super) fn lock<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The screen's end of the core.
pub struct Handle {
    pub(super) common: Arc<Common>,
    pub(super) commands: Sender<(u64, Command)>,
    pub(super) thread: Option<JoinHandle<u8>>,
}

impl Handle {
    /// Asks the core; it begins when it is done with what it is at.
    pub fn send(&mut self, command: Command) {
        self.common.send(&self.commands, command);
    }

    /// What ends the core from another thread.
    pub fn ender(&self) -> Ender {
        Ender { common: Arc::clone(&self.common), commands: self.commands.clone() }
    }

    /// Asks for the safe state: what runs reaches it and stops, what waits is void. Asked once
    /// more, only STOP and rail off are sent.
    pub fn stop(&self) {
        self.common.stop();
    }

    /// The screen is gone: what runs is finished without it, then the core ends.
    pub fn hung_up(&mut self) {
        self.common.hung_up.store(true, Ordering::Release);
        self.send(Command::HungUp);
    }

    /// The state now, and what has been queued since the last time.
    pub fn look(&self) -> (Snapshot, Vec<Item>) {
        self.common.bell.heard();
        let mut shared = self.common.shared();
        let snapshot = shared.snapshot.clone();
        let items = shared.items.drain(..).collect();
        (snapshot, items)
    }

    /// Words of the copy, from `first` on, counted from the base of the space.
    pub fn words(&self, space: usize, bits: u32, first: u32, count: usize) -> Vec<u32> {
        self.common.shared().image.words(space, bits, first, count)
    }

    /// True once the core has ended.
    pub fn is_over(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Waits for the core's end and gives its exit code.
    pub fn join(&mut self) -> u8 {
        self.thread.take().map_or(3, |thread| thread.join().unwrap_or(3))
    }
}

/// Ends the core for whoever cannot wait for the screen: a signal finds the terminal thread inside
/// a write that no terminal takes.
pub struct Ender {
    common: Arc<Common>,
    commands: Sender<(u64, Command)>,
}

impl Ender {
    /// To the safe state, then to the end. Asked once more, only STOP and rail off are sent.
    pub fn end(&self) {
        self.common.stop();
        self.common.send(&self.commands, Command::Quit);
    }

    /// True once the core has ended.
    pub fn is_over(&self) -> bool {
        self.common.shared().snapshot.over
    }
}
