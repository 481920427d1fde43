//! Where things are, and where words go.

use super::advised::Advised;
use super::args::Global;
use super::output::Output;
use crate::app::workbench::Places;
use crate::app::{Known, PortName, Wanted, is_builtin_sheet};
use directories::ProjectDirs;
use std::path::{Path, PathBuf};

/// Everything that commands share.
pub struct Context {
    /// The global options.
    pub global: Global,
    /// Where words go.
    pub output: Output,
    /// Puts the global options into the commands that messages advise.
    pub advised: Advised,
    folder: PathBuf,
}

impl Context {
    /// From the global options.
    pub fn new(global: Global) -> Self {
        let folder = ProjectDirs::from("", "", "buswright")
            .map_or_else(|| PathBuf::from(".buswright"), |dirs| dirs.data_dir().to_path_buf());
        let output = Output::new(global.json, global.quiet);
        let advised = Advised::new(&global, std::env::var_os("BUSWRIGHT_SHELF").as_deref());
        Self { global, output, advised, folder }
    }

    /// What this machine remembers.
    pub fn known(&self) -> Known {
        Known::load(&self.folder)
    }

    /// The folder of captures.
    pub fn shelf(&self) -> PathBuf {
        self.global.shelf.clone().unwrap_or_else(|| self.folder.join("shelf"))
    }

    /// The folder of the user's own sheets.
    pub fn sheets(&self) -> PathBuf {
        self.folder.join("sheets")
    }

    /// A sheet as it was named, or the file of that name in the user's folder.
    pub fn own_sheet(&self, name: &str) -> String {
        let own = self.sheets().join(format!("{name}.toml"));
        let plain = !name.contains(['/', '\\']) && !Path::new(name).exists();
        let own = Some(own).filter(|own| plain && !is_builtin_sheet(name) && own.is_file());
        own.map_or_else(|| name.to_owned(), |own| own.display().to_string())
    }

    /// The adapter sheet, if one is named.
    pub fn adapter(&self) -> Option<String> {
        self.global.adapter.as_deref().map(|name| self.own_sheet(name))
    }

    /// Where the workbench keeps things.
    pub fn places(&self) -> Places {
        let log = self.global.log.clone();
        Places { folder: self.folder.clone(), shelf: self.shelf(), log }
    }

    /// What the user wants to work on.
    pub fn wanted(&self) -> Wanted {
        Wanted {
            sheet: self.global.sheet.as_deref().map(|name| self.own_sheet(name)),
            adapter: self.adapter(),
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
