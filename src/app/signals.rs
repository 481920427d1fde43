//! Ctrl-C and friends: the first asks for the safe state, a second within 5 s for an end now.

use crate::link::Cancel;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
use signal_hook::iterator::Signals;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

/// Makes a file that would grow over the limit of this process (`ulimit -f`) an error of the write
/// that asked for it. Without this the system ends the process there and then, rail on or not.
pub(crate) fn outlive_file_limits() {
    // With a handler, and with none that does anything, write(2) gives EFBIG (POSIX.1-2017, write).
    // Where none can be set, all is as before.
    let _ = signal_hook::flag::register(SIGXFSZ, Arc::new(AtomicBool::new(false)));
}

const AGAIN_WITHIN: Duration = Duration::from_secs(5);

/// Turns signals into requests to stop; `attention` is called after each so that a waiting port
/// looks up.
///
/// A hang-up of the terminal is no request to stop: the job is finished without it.
pub fn watch_signals(cancel: Cancel, attention: impl Fn() + Send + 'static) -> std::io::Result<()> {
    let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP])?;
    std::thread::Builder::new().name("signals".into()).spawn(move || {
        let mut first: Option<Instant> = None;
        for signal in signals.forever() {
            if signal == SIGHUP {
                continue;
            }
            let again = first.is_some_and(|at| at.elapsed() <= AGAIN_WITHIN);
            first = Some(Instant::now());
            if again || !cancel.is_requested() {
                cancel.request();
            }
            attention();
        }
    })?;
    Ok(())
}
