//! Opening a PORT.

use super::input::{read_bytes, read_text};
use super::sheets::bench_sheet;
use super::{InputError, PortName, SimPort};
use crate::bus::Baud;
use crate::image::one_line;
use crate::link::shell::{Attention, OpenError, open_serial, open_tcp};
use crate::link::{Port, RatePlan};
use crate::sim::{Bench, BenchDescription, BenchError};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// The bench that `sim` means.
pub(super) const DEFAULT_BENCH: &str = "TG-7";

/// The longest name on the wire, in bytes (`docs/wire.md`).
const NAME_MAX: usize = 32;

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
    /// The name of a built-in bench where a file's is taken.
    #[error(
        "sim:{name}: there is no such file. The built-in bench {name} is served by `buswright bench \
         {name} --pty`, which prints the port to be named with --port; --port sim alone is the \
         built-in bench {DEFAULT_BENCH}"
    )]
    Served {
        /// The name.
        name: String,
    },
    /// A key of a later version.
    #[error(
        "{}: {key}: this key is reserved and means nothing in this version, in which nothing is \
         written to a module; take it out",
        one_line(path.display())
    )]
    Reserved {
        /// The file.
        path: PathBuf,
        /// The key.
        key: &'static str,
    },
    /// The bench file, or one that it names, cannot be read.
    #[error(transparent)]
    File(#[from] InputError),
}

impl OpenPortError {
    /// The exit code: a bad file is 2, a port 3.
    pub fn code(&self) -> u8 {
        match self {
            Self::Port(_) => 3,
            Self::Bench(_)
            | Self::NoBench { .. }
            | Self::Served { .. }
            | Self::Reserved { .. }
            | Self::File(_) => 2,
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
    let text = read_text(file).map_err(|error| {
        let served = |name: &&'static str| Path::new(name) == file;
        match BenchDescription::builtin_names().find(served) {
            Some(name) if error.is_missing() => OpenPortError::Served { name: name.into() },
            _ => error.into(),
        }
    })?;
    let mut description = BenchDescription::parse(&one_line(file.display()), &text)?;
    if description.state.is_some() {
        return Err(OpenPortError::Reserved { path: file.to_path_buf(), key: "state" });
    }
    let folder = file.parent().unwrap_or_else(|| Path::new("."));
    let files: Vec<_> =
        description.files().map(|(memory, path)| (memory.to_string(), folder.join(path))).collect();
    for (memory, path) in files {
        let of = description.memories.iter().find(|(of, _)| of.name == memory);
        let room = of.map_or(0, |(of, _)| u64::from(of.words) * of.width.bytes() as u64);
        let bytes = read_bytes(&path, room)?;
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
    let (mut description, _) =
        if is_file { load_bench(Path::new(name))? } else { builtin_bench(name)? };
    if is_file && built_in_board(&description.adapter.board) {
        description.adapter.board = board_of_file(Path::new(name));
    }
    if without_rate {
        description.adapter.reset_rate = Baud(0);
        description.adapter.rates.clear();
    }
    Ok(Bench::new(&description, fastrand::u64(..)))
}

/// True for the name of a built-in bench, by which a host knows its sheet and its label.
fn built_in_board(board: &str) -> bool {
    bench_sheet(board).is_some_and(|name| BenchDescription::builtin(name).is_some())
}

/// The board's name of a bench from a file that would pass for a built-in one: the specimen in it
/// is another.
fn board_of_file(file: &Path) -> String {
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let mut board = String::from("bench:file ");
    for letter in stem.chars().filter(|letter| !letter.is_control()) {
        if board.len() + letter.len_utf8() > NAME_MAX {
            break;
        }
        board.push(letter);
    }
    board
}
