//! Serial devices.

use super::OpenError;
use super::reader::{RealPort, Sender};
use crate::bus::Baud;
use serialport::{ErrorKind, SerialPort, TTYPort};
use std::io::Write;
use std::time::Duration;

/// One read or write; long enough to cost nothing, short enough to end a thread.
const TIMEOUT: Duration = Duration::from_millis(250);

/// Opens serial devices; tests put their own in place.
pub trait Opener {
    /// Opens `path` at `rate`.
    fn open(&self, path: &str, rate: Baud) -> serialport::Result<TTYPort>;
}

/// Opens what the system has.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemOpener;

impl Opener for SystemOpener {
    fn open(&self, path: &str, rate: Baud) -> serialport::Result<TTYPort> {
        // DTR is left alone: on many boards it is the reset (common practice, no source).
        serialport::new(path, rate.0).timeout(TIMEOUT).preserve_dtr_on_open().open_native()
    }
}

struct SerialSender(TTYPort);

impl Sender for SerialSender {
    fn send(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        self.0.write_all(bytes)
    }

    fn set_rate(&mut self, baud: u32) -> std::io::Result<()> {
        self.0.set_baud_rate(baud).map_err(Into::into)
    }
}

/// Opens the serial device `path` at `rate`.
pub fn open_serial(path: &str, rate: Baud) -> Result<RealPort, OpenError> {
    open_serial_with(&SystemOpener, path, rate)
}

/// Opens the serial device `path` at `rate` with `opener`.
pub fn open_serial_with(
    opener: &dyn Opener,
    path: &str,
    rate: Baud,
) -> Result<RealPort, OpenError> {
    let port = opener.open(path, rate).map_err(|e| explain(path, &e))?;
    let reader = port.try_clone_native().map_err(|e| explain(path, &e))?;
    RealPort::new(reader, Box::new(SerialSender(port)))
        .map(|port| port.at(rate))
        .map_err(|e| OpenError::Unusable { port: path.into(), what: e.to_string() })
}

fn explain(path: &str, error: &serialport::Error) -> OpenError {
    let port = path.to_string();
    match error.kind() {
        ErrorKind::Io(std::io::ErrorKind::NotFound) => OpenError::NotFound { port },
        ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => OpenError::NoPermission { port },
        // The library reports the lock of another program as a missing device.
        ErrorKind::NoDevice | ErrorKind::Io(std::io::ErrorKind::ResourceBusy) => {
            OpenError::Busy { port }
        }
        // What the library calls ENOTTY, without a kind of its own.
        _ if error.description == "Not a typewriter" => OpenError::NotSerial { port },
        _ => OpenError::Unusable { port, what: error.to_string() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io;

    struct Refusing(serialport::Error);

    impl Opener for Refusing {
        fn open(&self, _: &str, _: Baud) -> serialport::Result<TTYPort> {
            Err(self.0.clone())
        }
    }

    fn refused(error: serialport::Error) -> OpenError {
        open_serial_with(&Refusing(error), "/dev/ttyX9", Baud(115_200)).err().unwrap()
    }

    #[test]
    fn every_refusal_says_what_to_do() {
        let io = |kind: io::ErrorKind| serialport::Error::from(io::Error::from(kind));
        let denied = refused(io(io::ErrorKind::PermissionDenied));
        assert!(matches!(denied, OpenError::NoPermission { .. }));
        assert!(denied.to_string().contains("ls -l /dev/ttyX9"));
        let locked = refused(serialport::Error::new(ErrorKind::NoDevice, "locked"));
        assert!(locked.to_string().contains("another program has this port open"));
        let gone = refused(io(io::ErrorKind::NotFound));
        assert!(gone.to_string().contains("buswright ports"));
        let file = refused(serialport::Error::new(ErrorKind::Unknown, "Not a typewriter"));
        assert!(file.to_string().contains("this is no serial port"), "{file}");
        let odd = refused(serialport::Error::new(ErrorKind::Unknown, "Inappropriate ioctl"));
        assert!(odd.to_string().contains("Inappropriate ioctl"));
    }

    #[test]
    fn a_device_that_is_no_serial_port_is_called_so() {
        let error = open_serial("/dev/null", Baud(115_200)).err().unwrap();
        assert!(matches!(error, OpenError::NotSerial { .. }), "{error}");
    }

    #[test]
    fn a_missing_device_is_not_found() {
        let error = open_serial("/dev/no-such-port", Baud(115_200)).err().unwrap();
        assert!(matches!(error, OpenError::NotFound { .. }), "{error}");
    }
}
