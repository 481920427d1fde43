//! A port in real time: a thread that reads, the core that waits.

use crate::bus::Nanos;
use crate::link::{Port, PortLost, Transmit};
use std::io::{ErrorKind, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

/// Between two reads: lets packets gather.
const NAP: Duration = Duration::from_millis(4);
/// The same while many answers are to come, so that none of them is urgent. A terminal device holds
/// 4,096 bytes (Linux, N_TTY); at 3 Mbaud 3,000 gather.
const LONG_NAP: Duration = Duration::from_millis(10);
/// So many answers are many: at 1,024 bytes each, more than a long nap lets through at 3 Mbaud.
const MANY: usize = 4;
/// One read.
const CHUNK: usize = 4096;
/// Chunks that may wait for the core. A flood beyond it stays with the system.
const CHUNKS: usize = 64;

enum Input {
    Bytes(Vec<u8>),
    Lost,
    Attention,
}

/// The sending half of a real port.
pub(super) trait Sender {
    /// Sends all of `bytes`; an error means that the port is gone.
    fn send(&mut self, bytes: &[u8]) -> std::io::Result<()>;
    /// Changes the rate, where there is one.
    fn set_rate(&mut self, baud: u32) -> std::io::Result<()>;
    /// Lets the reading half end.
    fn close(&mut self) {}
}

/// A serial device or TCP connection with its clock, as [`crate::link::drive`] wants it.
pub struct RealPort {
    start: Duration,
    input: Receiver<Input>,
    attention: Attention,
    sender: Box<dyn Sender>,
    /// Bytes to send before the next wait: one call to the system for what is asked in one go.
    out: Vec<u8>,
    shared: Arc<Shared>,
}

/// What the reading thread is told.
#[derive(Default)]
struct Shared {
    closed: AtomicBool,
    /// Many answers are to come.
    many: AtomicBool,
}

/// Wakes a port that waits, from another thread.
#[derive(Clone)]
pub struct Attention(SyncSender<Input>);

impl Attention {
    /// Makes the port's wait return; a full queue means that it is awake.
    pub fn call(&self) {
        let _ = self.0.try_send(Input::Attention);
    }
}

impl RealPort {
    /// Reads `reader` in a thread of its own until the port is dropped. The reader's `read` must
    /// return from time to time (with a time-out) so that the thread can end.
    pub(super) fn new(
        mut reader: impl Read + Send + 'static,
        sender: Box<dyn Sender>,
    ) -> std::io::Result<Self> {
        let (give, input) = sync_channel(CHUNKS);
        let shared = Arc::new(Shared::default());
        let attention = Attention(give.clone());
        let told = Arc::clone(&shared);
        std::thread::Builder::new().name("port".into()).spawn(move || {
            let mut chunk = vec![0; CHUNK];
            while !told.closed.load(Ordering::Relaxed) {
                match reader.read(&mut chunk) {
                    Ok(n) if n > 0 => {
                        if give.send(Input::Bytes(chunk[..n].to_vec())).is_err() {
                            return;
                        }
                        let many = told.many.load(Ordering::Relaxed);
                        std::thread::sleep(if many { LONG_NAP } else { NAP });
                    }
                    Err(e) if is_nothing_yet(e.kind()) => {}
                    // No bytes without an error: the other side is gone for good.
                    Ok(_) | Err(_) => {
                        let _ = give.send(Input::Lost);
                        return;
                    }
                }
            }
        })?;
        Ok(Self { start: clock(), input, attention, sender, out: Vec::new(), shared })
    }

    /// A handle that wakes [`Port::wait`].
    pub fn attention(&self) -> Attention {
        self.attention.clone()
    }

    /// Sends what was gathered.
    fn flush(&mut self) -> Result<(), PortLost> {
        if self.out.is_empty() {
            return Ok(());
        }
        let sent = self.sender.send(&self.out);
        self.out.clear();
        match sent {
            // A frame cut short is damaged on the line and will be asked for again.
            Err(e) if is_nothing_yet(e.kind()) => Ok(()),
            other => other.map_err(|_| PortLost),
        }
    }
}

/// A clock that goes on while the computer sleeps: the adapter's dead-man does not sleep with it.
fn clock() -> Duration {
    #[cfg(target_os = "linux")]
    {
        let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
        Duration::new(time.tv_sec.cast_unsigned(), time.tv_nsec.cast_unsigned() as u32)
    }
    // Where there is no such clock, a sleep is not seen.
    #[cfg(not(target_os = "linux"))]
    {
        use std::sync::OnceLock;
        use std::time::Instant;
        static SINCE: OnceLock<Instant> = OnceLock::new();
        SINCE.get_or_init(Instant::now).elapsed()
    }
}

fn take(input: Input, into: &mut Vec<u8>) -> Result<(), PortLost> {
    match input {
        Input::Bytes(bytes) => into.extend_from_slice(&bytes),
        Input::Attention => {}
        Input::Lost => return Err(PortLost),
    }
    Ok(())
}

fn is_nothing_yet(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

impl Port for RealPort {
    fn now(&self) -> Nanos {
        Nanos(clock().saturating_sub(self.start).as_nanos() as u64)
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        match what {
            Transmit::Bytes(bytes) => {
                self.out.extend_from_slice(&bytes);
                Ok(())
            }
            Transmit::Rate(rate) => {
                self.flush()?;
                self.sender.set_rate(rate.0).map_err(|_| PortLost)
            }
        }
    }

    fn expects(&mut self, answers: usize) {
        self.shared.many.store(answers >= MANY, Ordering::Relaxed);
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        self.flush()?;
        // Absolute: what came before this call counts against the time.
        let first = match until {
            Some(until) => {
                let left = until.since(self.now());
                match self.input.recv_timeout(left.into()) {
                    Ok(input) => input,
                    Err(RecvTimeoutError::Timeout) => return Ok(()),
                    Err(RecvTimeoutError::Disconnected) => return Err(PortLost),
                }
            }
            None => self.input.recv().map_err(|_| PortLost)?,
        };
        take(first, into)?;
        while let Ok(more) = self.input.try_recv() {
            take(more, into)?;
        }
        Ok(())
    }
}

impl Drop for RealPort {
    fn drop(&mut self) {
        self.shared.closed.store(true, Ordering::Relaxed);
        self.sender.close();
    }
}

/// Writes everything; shared by the senders.
pub(super) fn write_all(writer: &mut impl Write, bytes: &[u8]) -> std::io::Result<()> {
    writer.write_all(bytes)?;
    writer.flush()
}
