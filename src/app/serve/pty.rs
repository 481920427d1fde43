//! A bench on a pseudo-terminal: to other programs a serial device.

use super::endpoint::Endpoint;
use super::{BenchClock, ServeError, serve};
use crate::link::Cancel;
use crate::sim::Bench;
use rustix::fd::{AsFd, BorrowedFd, OwnedFd};
use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use std::io;

struct Pty {
    master: OwnedFd,
    /// Kept open: a master whose last slave closes would end every later read with an error.
    slave: OwnedFd,
}

impl Endpoint for Pty {
    fn fd(&self) -> BorrowedFd<'_> {
        self.master.as_fd()
    }

    fn rate(&self) -> Option<u32> {
        tcgetattr(&self.slave).ok().map(|termios| termios.output_speed())
    }

    fn tidy(&self) {
        // A host that was killed leaves its exclusive mark, which on a real device ends with its
        // last user; here the slave stays open. A file lock still keeps two hosts apart.
        let _ = ioctl_tiocnxcl(&self.slave);
    }

    fn outlives_its_readers(&self) -> bool {
        true
    }
}

fn open_pty() -> io::Result<(Pty, String)> {
    let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
    let master = openpt(flags)?;
    grantpt(&master)?;
    unlockpt(&master)?;
    rustix::io::ioctl_fionbio(&master, true)?;
    let name = ptsname(&master, Vec::new())?.to_string_lossy().into_owned();
    let slave =
        open(name.as_str(), OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
    let mut termios = tcgetattr(&slave)?;
    termios.make_raw();
    tcsetattr(&slave, OptionalActions::Now, &termios)?;
    Ok((Pty { master, slave }, name))
}

/// Serves `bench` on a new pseudo-terminal until `cancel` is asked; `ready` gets its name.
pub fn serve_pty(
    mut bench: Bench,
    cancel: &Cancel,
    ready: impl FnOnce(&str),
) -> Result<(), ServeError> {
    let wrap = |what| move |error| ServeError { place: "a pty".into(), what, error };
    let (mut pty, name) = open_pty().map_err(wrap("opening"))?;
    ready(&name);
    serve(&mut bench, &mut BenchClock::start(), &mut pty, cancel).map_err(wrap("serving"))
}
