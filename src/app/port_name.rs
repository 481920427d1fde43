//! PORT as people write it.

use crate::bus::Baud;
use crate::image::one_line;
use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;
use thiserror::Error;

/// A way to an adapter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortName {
    /// The built-in simulated bench.
    Sim,
    /// A simulated bench described in a file.
    SimFile(PathBuf),
    /// A serial device, with a fixed rate if one is named.
    Serial {
        /// The device.
        path: String,
        /// The rate; no other is tried.
        rate: Option<Baud>,
    },
    /// A TCP address.
    Tcp(String),
}

/// A PORT that means nothing.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error(
    "port '{text}': {what}; say `sim`, `sim:FILE.toml`, a device such as /dev/ttyUSB0 (with \
     @RATE if it is fixed), or tcp:HOST:PORT"
)]
pub struct PortNameError {
    text: String,
    what: &'static str,
}

impl FromStr for PortName {
    type Err = PortNameError;

    fn from_str(text: &str) -> Result<Self, PortNameError> {
        let refuse = |what| Err(PortNameError { text: one_line(text), what });
        if text.chars().any(char::is_control) {
            return refuse("no port has a control character in its name");
        }
        if text == "sim" {
            return Ok(Self::Sim);
        }
        if let Some(file) = text.strip_prefix("sim:") {
            return if file.is_empty() {
                refuse("no file is named")
            } else {
                Ok(Self::SimFile(file.into()))
            };
        }
        if let Some(address) = text.strip_prefix("tcp:") {
            return match address.rsplit_once(':') {
                Some((host, port)) if !host.is_empty() && port.parse::<u16>().is_ok() => {
                    Ok(Self::Tcp(address.into()))
                }
                Some((host, port))
                    if !host.is_empty()
                        && !port.is_empty()
                        && port.bytes().all(|digit| digit.is_ascii_digit()) =>
                {
                    refuse("a TCP port is a number from 0 to 65535")
                }
                _ => refuse("HOST:PORT is missing"),
            };
        }
        let (path, rate) = match text.rsplit_once('@') {
            None => (text, None),
            Some((path, rate)) => match rate.replace('_', "").parse() {
                Ok(rate) if rate > 0 => (path, Some(Baud(rate))),
                _ => return refuse("the rate after @ is no number"),
            },
        };
        if path.is_empty() {
            return refuse("no device is named");
        }
        Ok(Self::Serial { path: path.into(), rate })
    }
}

impl fmt::Display for PortName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sim => f.write_str("sim"),
            Self::SimFile(file) => write!(f, "sim:{}", file.display()),
            Self::Serial { path, rate: None } => f.write_str(path),
            Self::Serial { path, rate: Some(rate) } => write!(f, "{path}@{}", rate.0),
            Self::Tcp(address) => write!(f, "tcp:{address}"),
        }
    }
}

impl PortName {
    /// True for the simulated bench inside this program.
    pub fn is_sim(&self) -> bool {
        matches!(self, Self::Sim | Self::SimFile(_))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_comes_back_as_it_was_written() {
        for text in ["sim", "sim:bench.toml", "/dev/ttyUSB0", "/dev/ttyUSB0@250000", "tcp:[::1]:9"]
        {
            assert_eq!(text.parse::<PortName>().unwrap().to_string(), text);
        }
        let fixed: PortName = "/dev/ttyUSB0@1_000_000".parse().unwrap();
        assert_eq!(fixed.to_string(), "/dev/ttyUSB0@1000000");
    }

    #[test]
    fn nonsense_is_refused_with_what_is_missing() {
        for (text, what) in [
            ("sim:", "no file"),
            ("tcp:host", "HOST:PORT is missing"),
            ("tcp:host:65536", "from 0 to 65535"),
            ("tcp:host:name", "HOST:PORT is missing"),
            ("/dev/ttyS0@fast", "no number"),
            ("", "no device"),
        ] {
            let error = text.parse::<PortName>().unwrap_err().to_string();
            assert!(error.contains(what), "{error}");
        }
    }
}
