//! One connection of a served bench: a descriptor that is waited for, read and written.

use crate::bus::Nanos;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::{AsFd, BorrowedFd};
use std::io::{self, ErrorKind};

/// What a wait has brought.
pub(super) enum Heard {
    /// So many bytes.
    Bytes(usize),
    /// Time is over, or there is room to write.
    Nothing,
    /// The other side is gone.
    Gone,
}

/// Longest wait, so that a request to stop is seen.
const LOOK_UP: Nanos = Nanos::from_millis(200);

/// A connection to a program that uses the bench.
pub(super) trait Endpoint {
    /// The descriptor.
    fn fd(&self) -> BorrowedFd<'_>;

    /// The line rate that the other side has set, where there is one.
    fn rate(&self) -> Option<u32> {
        None
    }

    /// Called after every wait, for what must not stay as another program left it.
    fn tidy(&self) {}

    /// A read that ends in an error of this kind means that nobody is there now, not that the
    /// endpoint is gone.
    fn outlives_its_readers(&self) -> bool {
        false
    }

    /// Writes what fits now.
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match rustix::io::write(self.fd(), bytes).map_err(io::Error::from) {
            Err(error) if error.kind() == ErrorKind::WouldBlock => Ok(0),
            other => other,
        }
    }

    /// Waits for bytes, for room if `writing`, or for the time.
    fn wait(&mut self, time: Option<Nanos>, writing: bool, into: &mut [u8]) -> io::Result<Heard> {
        let time = time.unwrap_or(LOOK_UP).min(LOOK_UP);
        // At most LOOK_UP, so no number is near its bound.
        let (seconds, nanos) = (time.0 / 1_000_000_000, time.0 % 1_000_000_000);
        let time = Timespec { tv_sec: seconds.cast_signed(), tv_nsec: nanos.cast_signed() };
        let mut flags = PollFlags::IN;
        flags.set(PollFlags::OUT, writing);
        let fd = self.fd();
        let mut set = [PollFd::from_borrowed_fd(fd.as_fd(), flags)];
        match poll(&mut set, Some(&time)) {
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        if !set[0].revents().intersects(PollFlags::IN | PollFlags::HUP | PollFlags::ERR) {
            return Ok(Heard::Nothing);
        }
        match rustix::io::read(fd, into).map_err(io::Error::from) {
            Ok(0) if self.outlives_its_readers() => Ok(Heard::Nothing),
            Ok(0) => Ok(Heard::Gone),
            Ok(n) => Ok(Heard::Bytes(n)),
            Err(error) if error.kind() == ErrorKind::WouldBlock => Ok(Heard::Nothing),
            Err(_) if self.outlives_its_readers() => Ok(Heard::Nothing),
            Err(_) => Ok(Heard::Gone),
        }
    }
}
