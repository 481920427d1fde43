//! What a bench is made of, as a value and as TOML text.

mod builtin;
mod chips;
#[cfg(test)]
mod document_tests;
mod error;
mod raw;
mod resolve;

pub use error::BenchError;

use super::config::AdapterConfig;
use super::contents;
use super::faulty::LineFault;
use super::mangler::FrameFaults;
use super::memory::{MemoryConfig, MemoryKind};
use super::module::{Module, ModuleConfig};
use super::socket::Socket;
use crate::bus::{Levels, Millivolts, Nanos};

/// How fast a bench is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pace {
    /// Work and line take the time they would take.
    #[default]
    Real,
    /// They take none; rail times and timers such as the dead-man stay.
    Instant,
}

/// The line between adapter and host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineConfig {
    /// How fast everything is.
    pub pace: Pace,
    /// Bytes of the bridge's full packet.
    pub packet: usize,
    /// After so long a short packet leaves.
    pub latency: Nanos,
    /// On top, each way.
    pub delay: Nanos,
}

/// What a memory holds at first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MemoryFill {
    /// Demo contents.
    Generated,
    /// Every bit high.
    Blank,
    /// The contents of this file, which the caller hands in by
    /// [`BenchDescription::set_contents`]; blank until then.
    File(String),
    /// These bytes.
    Bytes(Vec<u8>),
}

/// A bench as its file describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchDescription {
    /// The file it came from, for messages.
    pub file: String,
    /// Name of the module sheet that fits.
    pub sheet: String,
    /// The label of the specimen that is plugged in.
    pub specimen: String,
    /// The adapter; its `charged` is set by the pace when the bench is made.
    pub adapter: AdapterConfig,
    /// Opening the port restarts the board.
    pub restarts_on_open: bool,
    /// The line.
    pub line: LineConfig,
    /// Mixed into every seed of frame faults.
    pub fault_seed: u64,
    /// Faults of frames to the adapter.
    pub request_faults: FrameFaults,
    /// Faults of frames to the host.
    pub reply_faults: FrameFaults,
    /// The memories, with what they hold at first.
    pub memories: Vec<(MemoryConfig, MemoryFill)>,
    /// Below this voltage the module does not answer.
    pub needs: Millivolts,
    /// Faults of single lines.
    pub line_faults: Vec<LineFault>,
    /// A folder in which whoever serves the bench keeps its state.
    pub state: Option<String>,
}

impl BenchDescription {
    /// Reads a description; `file` is its name for messages.
    pub fn parse(file: &str, text: &str) -> Result<Self, BenchError> {
        resolve::resolve(file, text, raw::parse(file, text)?)
    }

    /// A built-in bench by name.
    pub fn builtin(name: &str) -> Option<Self> {
        builtin::find(name)
    }

    /// The names of the built-in benches.
    pub fn builtin_names() -> impl Iterator<Item = &'static str> {
        builtin::names()
    }

    /// Memories whose contents come from a file: space and file name.
    pub fn files(&self) -> impl Iterator<Item = (&str, &str)> {
        self.memories.iter().filter_map(|(memory, fill)| match fill {
            MemoryFill::File(file) => Some((memory.name.as_str(), file.as_str())),
            _ => None,
        })
    }

    /// Hands in the contents of a memory; what is missing at its end stays blank.
    pub fn set_contents(&mut self, space: &str, bytes: Vec<u8>) -> Result<(), BenchError> {
        let error = |what: String| BenchError::new(&self.file, 0, what, "give another file");
        let memory = self.memories.iter_mut().find(|(memory, _)| memory.name == space);
        let Some((memory, fill)) = memory else {
            return Err(error(format!("there is no memory '{space}'")));
        };
        let room = memory.words as usize * memory.width.bytes();
        if bytes.len() > room {
            return Err(error(format!(
                "the contents of '{space}' are {} bytes; it has {room}",
                bytes.len()
            )));
        }
        *fill = MemoryFill::Bytes(bytes);
        Ok(())
    }

    /// Makes the module, filled and without supply.
    pub fn module(&self, seed: u64) -> Box<dyn Socket> {
        let lines = (1_u32 << self.adapter.control.len().min(16)) - 1;
        let mut module = Module::new(
            ModuleConfig {
                memories: self.memories.iter().map(|(memory, _)| memory.clone()).collect(),
                pulls: Levels { mask: lines as u16, level: self.adapter.pulled_up() },
                needs: self.needs,
            },
            seed,
        );
        for (memory, fill) in &self.memories {
            if let Some(bytes) = self.first_contents(memory, fill) {
                module.set_contents(&memory.name, &bytes);
            }
        }
        Box::new(module)
    }

    fn first_contents(&self, memory: &MemoryConfig, fill: &MemoryFill) -> Option<Vec<u8>> {
        let (width, words) = (memory.width, memory.words);
        match fill {
            MemoryFill::Generated if matches!(memory.kind, MemoryKind::Ram { .. }) => {
                Some(contents::records(&self.specimen, width, words))
            }
            MemoryFill::Generated => {
                Some(contents::store(&self.sheet, &self.specimen, width, words))
            }
            MemoryFill::Bytes(bytes) => Some(bytes.clone()),
            MemoryFill::Blank | MemoryFill::File(_) => None,
        }
    }
}
