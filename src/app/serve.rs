//! Serving a simulated bench to other programs: over a pseudo-terminal or TCP.

mod clock;
mod endpoint;
mod pty;
mod tcp;

pub use pty::serve_pty;
pub use tcp::serve_tcp;

use crate::bus::Baud;
use crate::link::Cancel;
use crate::sim::{Bench, Event};
use clock::BenchClock;
use endpoint::{Endpoint, Heard};
use std::io::ErrorKind;
use thiserror::Error;

/// Why a bench could not be served.
#[derive(Debug, Error)]
#[error("bench on {place}: {what}: {error}; {}", remedy(error))]
pub struct ServeError {
    place: String,
    what: &'static str,
    error: std::io::Error,
}

fn remedy(error: &std::io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::AddrInUse => {
            "another program has this TCP port: name another, or 0 for a free one"
        }
        ErrorKind::AddrNotAvailable => "name an address of this computer, such as 127.0.0.1",
        ErrorKind::PermissionDenied => "TCP ports below 1024 are often reserved: name a higher one",
        _ => "if it stays so, serve it elsewhere: --pty, or --tcp with another address",
    }
}

/// Packets held for a reader that does not read; more is lost, as on a real line.
const HELD_MAX: usize = 1 << 20;

/// Serves `bench` on `endpoint` in real time until the other side is gone, its cable is out or
/// `cancel` is asked.
fn serve(
    bench: &mut Bench,
    clock: &mut BenchClock,
    endpoint: &mut impl Endpoint,
    cancel: &Cancel,
) -> std::io::Result<()> {
    let mut held: Vec<u8> = Vec::new();
    let mut bytes = [0; 4096];
    clock.step(bench, |bench, now| {
        // Whoever connects has plugged it in.
        bench.at(now, Event::Replug);
        bench.open(now);
    });
    while !cancel.is_requested() {
        let out = clock.step(bench, |bench, now| {
            bench.handle_timeout(now);
            while let Some(packet) = bench.poll_receive(now) {
                if held.len() < HELD_MAX {
                    held.extend(packet);
                }
            }
            bench.is_unplugged(now)
        });
        if out {
            return Ok(());
        }
        if !held.is_empty() {
            let sent = endpoint.write(&held)?;
            held.drain(..sent);
        }
        let until = bench.poll_timeout().map(|at| at.since(clock.now()));
        let heard = endpoint.wait(until, !held.is_empty(), &mut bytes)?;
        endpoint.tidy();
        match heard {
            Heard::Bytes(n) => {
                let rate = endpoint.rate();
                clock.step(bench, |bench, now| {
                    if let Some(rate) = rate {
                        bench.set_host_rate(now, Baud(rate));
                    }
                    bench.host_send(now, &bytes[..n]);
                });
            }
            Heard::Nothing => {}
            Heard::Gone => return Ok(()),
        }
    }
    Ok(())
}
