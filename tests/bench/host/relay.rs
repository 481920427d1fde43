//! A relay between a pty and an unlimited bench that lets bytes through as a 1 Mbaud line and a
//! bridge of 62-byte packets would. It shares no code with the simulated line.

use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

const PACKET: usize = 62;
/// 62 bytes of ten bits at 1 Mbaud.
const PACKET_TIME: Duration = Duration::from_micros(620);

/// Longer than any late wake-up, shorter than a request's way.
const PAUSE: Duration = Duration::from_millis(2);

/// The name of the pty's slave, and the slave itself, which must stay open.
pub struct Relay {
    pub name: String,
    _slave: OwnedFd,
}

/// Joins a new pty to the bench at `address`.
pub fn start(address: &str) -> Relay {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pty");
    grantpt(&master).expect("a pty");
    unlockpt(&master).expect("a pty");
    let name = ptsname(&master, Vec::new()).expect("a name").to_string_lossy().into_owned();
    let slave = open(name.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).expect("a slave");
    let mut termios = tcgetattr(&slave).expect("settings");
    termios.make_raw();
    tcsetattr(&slave, OptionalActions::Now, &termios).expect("settings");
    let host = File::from(master);
    let bench = TcpStream::connect(address).expect("the bench");
    bench.set_nodelay(true).expect("no delay");
    let to_bench = (host.try_clone().expect("a clone"), bench.try_clone().expect("a clone"));
    std::thread::spawn(move || limited(to_bench.0, to_bench.1));
    std::thread::spawn(move || limited(bench, host));
    Relay { name, _slave: slave }
}

/// Passes bytes on, each packet not before the line would have carried it.
fn limited(mut from: impl Read, mut to: impl Write) {
    let mut held = vec![0; 64 * 1024];
    let mut free_at = Instant::now();
    loop {
        let Ok(n) = from.read(&mut held) else { return };
        if n == 0 {
            return;
        }
        // After a pause the line begins anew; a late wake-up is no pause and must not add up.
        if free_at + PAUSE < Instant::now() {
            free_at = Instant::now();
        }
        for packet in held[..n].chunks(PACKET) {
            free_at += PACKET_TIME * packet.len() as u32 / PACKET as u32;
            std::thread::sleep(free_at.saturating_duration_since(Instant::now()));
            if to.write_all(packet).is_err() {
                return;
            }
        }
    }
}
