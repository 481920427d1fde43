//! Signals as bytes in a pipe, so that one poll waits for everything.

use rustix::fd::OwnedFd;
use rustix::io::Errno;
use rustix::pipe::{PipeFlags, pipe_with};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGWINCH};
use signal_hook::iterator::Signals as Iter;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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

/// Watches signals; each sets its flag and calls `wake`.
pub fn watch(wake: &Wake) -> io::Result<Flags> {
    let flags = Flags::default();
    for (signal, flag) in [
        (SIGTERM, &flags.term),
        (SIGINT, &flags.int),
        (SIGWINCH, &flags.winch),
        (SIGCONT, &flags.cont),
    ] {
        signal_hook::flag::register(signal, Arc::clone(flag))?;
        signal_hook::low_level::pipe::register(signal, wake.write.try_clone()?)?;
    }
    let mut hang_ups = Iter::new([SIGHUP])?;
    let (silent, keep) = pipe_with(PipeFlags::CLOEXEC)?;
    let (hup, call) = (Arc::clone(&flags.hup), wake.caller());
    // In a thread of its own: the terminal's may be inside a read that never returns once the
    // terminal is gone.
    std::thread::Builder::new().name("hang-up".into()).spawn(move || {
        for _ in hang_ups.forever() {
            let _ = rustix::stdio::dup2_stdin(&silent);
            hup.store(true, Ordering::Release);
            call();
        }
        drop(keep);
    })?;
    Ok(flags)
}
