//! Where things are, and where words go.

use super::args::Global;
use super::output::Output;
use crate::app::{Known, PortName, Wanted};
use directories::ProjectDirs;
use std::path::PathBuf;

/// Everything that commands share.
pub struct Context {
    /// The global options.
    pub global: Global,
    /// Where words go.
    pub output: Output,
    folder: PathBuf,
}

impl Context {
    /// From the global options.
    pub fn new(global: Global) -> Self {
        let folder = ProjectDirs::from("", "", "buswright")
            .map_or_else(|| PathBuf::from(".buswright"), |dirs| dirs.data_dir().to_path_buf());
        let output = Output::new(global.json, global.quiet);
        Self { global, output, folder }
    }

    /// What this machine remembers.
    pub fn known(&self) -> Known {
        Known::load(&self.folder)
    }

    /// The folder of captures.
    pub fn shelf(&self) -> PathBuf {
        self.global.shelf.clone().unwrap_or_else(|| self.folder.join("shelf"))
    }

    /// What the user wants to work on.
    pub fn wanted(&self) -> Wanted {
        Wanted {
            sheet: self.global.sheet.clone(),
            adapter: self.global.adapter.clone(),
            specimen: self.global.specimen.clone(),
        }
    }

    /// The port: named, or `sim` while no real one has ever been used on this machine.
    pub fn port(&self, known: &Known) -> Result<PortName, String> {
        match &self.global.port {
            Some(text) => {
                text.parse().map_err(|error: crate::app::PortNameError| error.to_string())
            }
            None if known.damage.is_some() => Err(format!(
                "which port? What this machine remembers of adapters cannot be read, so nobody \
                 knows whether a real one was used: {}. Mend or remove that file, or say --port sim \
                 or --port DEVICE (`buswright ports` lists what is there)",
                known.damage.as_deref().unwrap_or_default()
            )),
            None if known.real_port_used => Err("which port? A real adapter was used on this \
                 machine, so the simulated bench is no longer taken by itself: say --port sim or \
                 --port DEVICE (`buswright ports` lists what is there)"
                .into()),
            None => Ok(PortName::Sim),
        }
    }
}
