//! A port in real time: a thread that reads, the core that waits.

use crate::bus::{Baud, Nanos};
use crate::link::{Port, PortLost, Transmit};
use std::io::{ErrorKind, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

/// Between two reads: lets packets gather.
const NAP: Duration = Duration::from_millis(4);
/// The same while many answers are to come, so that none of them is urgent: the time of so many
/// bytes. A terminal device holds 4,096 (Linux, `N_TTY`).
const GATHER: u64 = 3_072;
/// No nap is longer: at 1 Mbaud it is that of 3,000 bytes.
const LONGEST_NAP: Duration = Duration::from_millis(30);
/// So many answers are many: at 1,024 bytes each, more than gathers in a nap.
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
    /// The nap while many answers are to come, in microseconds.
    long_nap: u32,
}

/// What the reading thread is told.
#[derive(Default)]
struct Shared {
    closed: AtomicBool,
    /// The nap in microseconds; 0 for the usual one.
    nap: AtomicU32,
}

/// The nap while many answers are to come, at this rate, in microseconds.
fn long_nap(baud: Baud) -> u32 {
    let time: Duration = baud.time_of(GATHER).into();
    time.clamp(NAP, LONGEST_NAP).as_micros() as u32
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
                        let nap = Duration::from_micros(told.nap.load(Ordering::Relaxed).into());
                        std::thread::sleep(nap.max(NAP));
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
        let (start, out) = (clock(), Vec::new());
        Ok(Self { start, input, attention, sender, out, shared, long_nap: 0 })
    }

    /// The same with a line at `rate`; one without a rate has no long naps.
    pub(super) fn at(mut self, rate: Baud) -> Self {
        self.long_nap = long_nap(rate);
        self
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
                self.long_nap = if self.long_nap == 0 { 0 } else { long_nap(rate) };
                self.sender.set_rate(rate.0).map_err(|_| PortLost)
            }
        }
    }

    fn expects(&mut self, answers: usize) {
        let nap = if answers >= MANY { self.long_nap } else { 0 };
        self.shared.nap.store(nap, Ordering::Relaxed);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_nap_gathers_what_a_terminal_device_can_hold() {
        for (baud, micros) in [(115_200, 30_000), (1_000_000, 30_000), (3_000_000, 10_240)] {
            let nap = long_nap(Baud(baud));
            assert!(nap.abs_diff(micros) < 2, "{baud}: {nap}");
            assert!(u64::from(nap) * u64::from(baud) / 10_000_000 < 4_096);
        }
        assert_eq!(long_nap(Baud(12_000_000)), 4_000, "no shorter than the usual one");
    }
}
