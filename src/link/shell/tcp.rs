//! TCP connections: a bench on another computer, a serial server.

use super::OpenError;
use super::reader::{RealPort, Sender, write_all};
use std::net::{Shutdown, TcpStream, ToSocketAddrs};
use std::time::Duration;

const CONNECT: Duration = Duration::from_secs(5);
const WRITE: Duration = Duration::from_secs(2);
const READ: Duration = Duration::from_millis(250);

struct TcpSender(TcpStream);

impl Sender for TcpSender {
    fn send(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        write_all(&mut self.0, bytes)
    }

    fn set_rate(&mut self, _: u32) -> std::io::Result<()> {
        Ok(())
    }

    fn close(&mut self) {
        let _ = self.0.shutdown(Shutdown::Both);
    }
}

/// Connects to `address` (`HOST:PORT`).
pub fn open_tcp(address: &str) -> Result<RealPort, OpenError> {
    let wrap = |what: std::io::Error| OpenError::Unreachable {
        port: format!("tcp:{address}"),
        what: what.to_string(),
    };
    let mut last = std::io::Error::other("the name has no address");
    for at in address.to_socket_addrs().map_err(wrap)? {
        match connect(at) {
            Ok(port) => return Ok(port),
            Err(error) => last = error,
        }
    }
    Err(wrap(last))
}

fn connect(at: std::net::SocketAddr) -> std::io::Result<RealPort> {
    let stream = TcpStream::connect_timeout(&at, CONNECT)?;
    // Requests are small and wait for nobody.
    stream.set_nodelay(true)?;
    stream.set_read_timeout(Some(READ))?;
    stream.set_write_timeout(Some(WRITE))?;
    let reader = stream.try_clone()?;
    RealPort::new(reader, Box::new(TcpSender(stream)))
}
