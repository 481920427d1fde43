//! A bench that another program can open as a port, served by a thread of the test.

use buswright::app::{ServeError, serve_pty, serve_tcp};
use buswright::link::Cancel;
use buswright::sim::Bench;
use std::sync::mpsc::{Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// Opening a pty or a socket takes no time; a loaded machine may need seconds.
const LIMIT: Duration = Duration::from_secs(30);

/// A bench in service until it is ended or dropped.
pub struct Served {
    /// PORT as the program takes it.
    pub port: String,
    cancel: Cancel,
    thread: Option<JoinHandle<Result<(), ServeError>>>,
}

impl Served {
    /// On a new pseudo-terminal.
    pub fn pty(bench: Bench) -> Self {
        Self::start(|cancel, ready| {
            serve_pty(bench, cancel, |name| drop(ready.send(name.to_string())))
        })
    }

    /// On a free TCP port of this machine.
    pub fn tcp(bench: Bench) -> Self {
        Self::start(|cancel, ready| {
            serve_tcp(bench, "127.0.0.1:0", cancel, |name| drop(ready.send(name.to_string())))
        })
    }

    fn start(
        serve: impl FnOnce(&Cancel, Sender<String>) -> Result<(), ServeError> + Send + 'static,
    ) -> Self {
        let (sender, ready) = channel();
        let cancel = Cancel::default();
        let asked = cancel.clone();
        let mut served = Self { port: String::new(), cancel, thread: None };
        served.thread = Some(thread::spawn(move || serve(&asked, sender)));
        match ready.recv_timeout(LIMIT) {
            Ok(port) => served.port = port,
            // Its thread tells why, or is what hangs.
            Err(error) => panic!("the bench was not in service after {LIMIT:?}: {error}"),
        }
        served
    }

    /// Ends the service; the bench and what is plugged into it are gone afterwards.
    pub fn end(mut self) {
        self.cancel.request();
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result.unwrap_or_else(|error| panic!("{error}")),
            Some(Err(_)) => panic!("the thread that served the bench panicked"),
            None => {}
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // It looks up several times a second. Waited for, because what is plugged in may be a
        // process that must not outlive the test.
        self.cancel.request();
        let _ = self.thread.take().map(JoinHandle::join);
    }
}
