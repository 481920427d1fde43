//! Signals as bytes in a pipe, so that one poll waits for everything.

use crate::app::workbench::Ender;
use rustix::fd::OwnedFd;
use rustix::io::Errno;
use rustix::pipe::{PipeFlags, pipe_with};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGWINCH};
use signal_hook::iterator::Signals as Iter;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A pipe through which other threads wake this one.
pub struct Wake {
    /// Readable once somebody has called.
    pub read: OwnedFd,
    write: Arc<OwnedFd>,
}

impl Wake {
    /// A new pipe.
    pub fn new() -> io::Result<Self> {
        let (read, write) = pipe_with(PipeFlags::CLOEXEC | PipeFlags::NONBLOCK)?;
        Ok(Self { read, write: Arc::new(write) })
    }

    /// What calls: a full pipe means that the reader is called already.
    pub fn caller(&self) -> impl Fn() + Send + Sync + 'static {
        let write = Arc::clone(&self.write);
        move || {
            let _ = rustix::io::write(&*write, &[1]);
        }
    }

    /// Takes all calls so far.
    pub fn heard(&self) {
        let mut bytes = [0; 64];
        loop {
            match rustix::io::read(&self.read, &mut bytes) {
                Ok(n) if n == bytes.len() => {}
                Err(Errno::INTR) => {}
                _ => return,
            }
        }
    }
}

/// Which signals have come.
#[derive(Clone, Default)]
pub struct Flags {
    /// The end is asked for.
    pub term: Arc<AtomicBool>,
    /// So it is by Ctrl-C from outside.
    pub int: Arc<AtomicBool>,
    /// The window has another size.
    pub winch: Arc<AtomicBool>,
    /// The process goes on after a stop.
    pub cont: Arc<AtomicBool>,
    /// The terminal is gone.
    pub hup: Arc<AtomicBool>,
}

/// True once for each time that it was set.
pub fn taken(flag: &AtomicBool) -> bool {
    flag.swap(false, Ordering::AcqRel)
}

/// A second signal within this time is an urgent one.
const AGAIN: Duration = Duration::from_secs(5);
/// So long the terminal thread has to give the terminal back once the core has ended.
const GRACE: Duration = Duration::from_secs(1);
const LOOK: Duration = Duration::from_millis(50);

/// Watches signals; each sets its flag and calls `wake`. Those that ask for the end reach the core
/// through `ender`, whatever the terminal thread is at.
pub fn watch(wake: &Wake, ender: Ender) -> io::Result<Flags> {
    let flags = Flags::default();
    for (signal, flag) in [(SIGWINCH, &flags.winch), (SIGCONT, &flags.cont)] {
        signal_hook::flag::register(signal, Arc::clone(flag))?;
        signal_hook::low_level::pipe::register(signal, wake.write.try_clone()?)?;
    }
    let mut signals = Iter::new([SIGHUP, SIGTERM, SIGINT])?;
    let (silent, keep) = pipe_with(PipeFlags::CLOEXEC)?;
    let (mine, call) = (flags.clone(), wake.caller());
    // In a thread of its own: the terminal's may be inside a read that never returns once the
    // terminal is gone, or inside a write that nobody takes.
    std::thread::Builder::new().name("signals".into()).spawn(move || {
        let ender = Arc::new(ender);
        let mut first: Option<Instant> = None;
        for signal in signals.forever() {
            if signal == SIGHUP {
                let _ = rustix::stdio::dup2_stdin(&silent);
                mine.hup.store(true, Ordering::Release);
            } else {
                let flag = if signal == SIGTERM { &mine.term } else { &mine.int };
                flag.store(true, Ordering::Release);
                // One that comes later counts as a first one again, and that was asked already.
                if first.is_none_or(|at| at.elapsed() <= AGAIN) {
                    ender.end();
                }
                if first.is_none() {
                    let (ender, code) = (Arc::clone(&ender), 128 + signal);
                    let last = std::thread::Builder::new().name("last".into());
                    let _ = last.spawn(move || last_resort(&ender, code));
                }
                first = Some(Instant::now());
            }
            call();
        }
        drop(keep);
    })?;
    Ok(flags)
}

/// Ends the process after the core where the terminal thread does not: it is inside a write.
fn last_resort(ender: &Ender, code: i32) {
    while !ender.is_over() {
        std::thread::sleep(LOOK);
    }
    std::thread::sleep(GRACE);
    super::term::give_back_stalled();
    std::process::exit(code);
}
