//! A bench on a TCP port, one connection at a time.

use super::endpoint::Endpoint;
use super::{BenchClock, ServeError, serve};
use crate::link::Cancel;
use crate::sim::Bench;
use rustix::fd::{AsFd, BorrowedFd};
use std::io::ErrorKind;
use std::net::{TcpListener, TcpStream};
use std::time::Duration;

struct Connection(TcpStream);

impl Endpoint for Connection {
    fn fd(&self) -> BorrowedFd<'_> {
        self.0.as_fd()
    }
}

/// Serves `bench` at `address` until `cancel` is asked; `ready` gets the address in use. The bench
/// stays as it is between connections.
pub fn serve_tcp(
    mut bench: Bench,
    address: &str,
    cancel: &Cancel,
    ready: impl FnOnce(&str),
) -> Result<(), ServeError> {
    let wrap = |what| move |error| ServeError { place: address.to_string(), what, error };
    let listener = TcpListener::bind(address).map_err(wrap("listening"))?;
    listener.set_nonblocking(true).map_err(wrap("listening"))?;
    let at = listener.local_addr().map_err(wrap("listening"))?;
    ready(&format!("tcp:{at}"));
    let mut clock = BenchClock::start();
    while !cancel.is_requested() {
        match listener.accept() {
            Ok((stream, _)) => {
                stream.set_nodelay(true).map_err(wrap("accepting"))?;
                stream.set_nonblocking(true).map_err(wrap("accepting"))?;
                // A connection that breaks is the other side's affair: the next one may come.
                let _ = serve(&mut bench, &mut clock, &mut Connection(stream), cancel);
            }
            Err(error) if error.kind() == ErrorKind::WouldBlock => {
                clock.step(&mut bench, Bench::handle_timeout);
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(error) => return Err(wrap("accepting")(error)),
        }
    }
    Ok(())
}
