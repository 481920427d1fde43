//! Ctrl-C and friends: the first asks for the safe state, a second within 5 s for an end now.

use crate::link::Cancel;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use std::time::{Duration, Instant};

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
