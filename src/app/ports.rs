//! Opening a PORT.

use super::{PortName, SimPort};
use crate::bus::Baud;
use crate::link::shell::{Attention, OpenError, open_serial, open_tcp};
use crate::link::{Port, RatePlan};
use crate::sim::{Bench, BenchDescription, BenchError};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// The bench that `sim` means.
pub(super) const DEFAULT_BENCH: &str = "TG-7";

/// A port that is open.
pub struct OpenPort {
    /// The port.
    pub port: Box<dyn Port>,
    /// Wakes it, where it is a real one.
    pub attention: Option<Attention>,
    /// Which rates to try.
    pub plan: RatePlan,
    /// By what the adapter is remembered.
    pub identity: String,
    /// The description of the simulated bench inside this program.
    pub bench: Option<BenchDescription>,
}

/// Why a PORT could not be opened.
#[derive(Debug, Error)]
pub enum OpenPortError {
    /// The port.
    #[error(transparent)]
    Port(#[from] OpenError),
    /// The bench file is wrong.
    #[error(transparent)]
    Bench(#[from] BenchError),
    /// No built-in bench has this name.
    #[error(
        "{name}: no such file, and no built-in bench; built in are {}",
        BenchDescription::builtin_names().collect::<Vec<_>>().join(", ")
    )]
    NoBench {
        /// The name.
        name: String,
    },
    /// A key of a later version.
    #[error(
        "{}: {key}: this key is reserved and means nothing in this version, in which nothing is \
         written to a module; take it out",
        path.display()
    )]
    Reserved {
        /// The file.
        path: PathBuf,
        /// The key.
        key: &'static str,
    },
    /// The bench file, or one that it names, cannot be read.
    #[error("{}: {error}; is the path right?", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        error: std::io::Error,
    },
}

impl OpenPortError {
    /// The exit code: a bad file is 2, a port 3.
    pub fn code(&self) -> u8 {
        match self {
            Self::Port(_) => 3,
            Self::Bench(_) | Self::NoBench { .. } | Self::Reserved { .. } | Self::File { .. } => 2,
        }
    }
}

/// Opens `name`; `remembered` gives the rate that worked last for an identity.
pub fn open_port(
    name: &PortName,
    remembered: impl Fn(&str) -> Option<Baud>,
) -> Result<OpenPort, OpenPortError> {
    let identity = identity(name);
    match name {
        PortName::Sim | PortName::SimFile(_) => {
            let (description, bench) = match name {
                PortName::SimFile(file) => load_bench(file)?,
                _ => builtin_bench(DEFAULT_BENCH)?,
            };
            Ok(OpenPort {
                port: Box::new(SimPort::new(bench)),
                attention: None,
                plan: RatePlan::default(),
                identity,
                bench: Some(description),
            })
        }
        PortName::Serial { path, rate } => {
            let plan = RatePlan { fixed: *rate, remembered: remembered(&identity), none: false };
            let port = open_serial(path, plan.first().unwrap_or(Baud(115_200)))?;
            let attention = Some(port.attention());
            Ok(OpenPort { port: Box::new(port), attention, plan, identity, bench: None })
        }
        PortName::Tcp(address) => {
            let port = open_tcp(address)?;
            let attention = Some(port.attention());
            let plan = RatePlan { none: true, ..RatePlan::default() };
            Ok(OpenPort { port: Box::new(port), attention, plan, identity, bench: None })
        }
    }
}

/// The USB identity of a serial device where the system tells one, else the port's name.
pub(super) fn identity(name: &PortName) -> String {
    if let PortName::Serial { path, .. } = name {
        let ports = serialport::available_ports().unwrap_or_default();
        if let Some(serialport::SerialPortType::UsbPort(usb)) =
            ports.into_iter().find(|port| port.port_name == *path).map(|port| port.port_type)
        {
            let serial = usb.serial_number.unwrap_or_default();
            return format!("usb:{:04x}:{:04x}:{serial}", usb.vid, usb.pid);
        }
        return path.clone();
    }
    name.to_string()
}

/// The built-in bench `name`.
pub(super) fn builtin_bench(name: &str) -> Result<(BenchDescription, Bench), OpenPortError> {
    let description = BenchDescription::builtin(name)
        .ok_or_else(|| OpenPortError::NoBench { name: name.into() })?;
    let bench = Bench::new(&description, fastrand::u64(..));
    Ok((description, bench))
}

/// The bench that a file describes, with the contents it names.
pub(super) fn load_bench(file: &Path) -> Result<(BenchDescription, Bench), OpenPortError> {
    let wrap = |path: &Path| {
        let path = path.to_path_buf();
        |error| OpenPortError::File { path, error }
    };
    let text = std::fs::read_to_string(file).map_err(wrap(file))?;
    let mut description = BenchDescription::parse(&file.display().to_string(), &text)?;
    if description.state.is_some() {
        return Err(OpenPortError::Reserved { path: file.to_path_buf(), key: "state" });
    }
    let folder = file.parent().unwrap_or_else(|| Path::new("."));
    let files: Vec<_> =
        description.files().map(|(memory, path)| (memory.to_string(), folder.join(path))).collect();
    for (memory, path) in files {
        let bytes = std::fs::read(&path).map_err(wrap(&path))?;
        description.set_contents(&memory, bytes)?;
    }
    if crate::module::builtin(&description.sheet).is_none() {
        // A sheet file stands beside the bench file that names it.
        description.sheet = folder.join(&description.sheet).display().to_string();
    }
    let bench = Bench::new(&description, fastrand::u64(..));
    Ok((description, bench))
}

/// The bench to serve: a built-in name or a file, at real pace unless its file says otherwise.
/// `without_rate` makes its line one that has none, as TCP.
pub fn bench_for_service(name: &str, without_rate: bool) -> Result<Bench, OpenPortError> {
    let is_file = Path::new(name).is_file();
    let (mut description, bench) =
        if is_file { load_bench(Path::new(name))? } else { builtin_bench(name)? };
    if !without_rate {
        return Ok(bench);
    }
    description.adapter.reset_rate = Baud(0);
    description.adapter.rates.clear();
    Ok(Bench::new(&description, fastrand::u64(..)))
}
