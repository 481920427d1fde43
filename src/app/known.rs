//! What this machine remembers of adapters: the rate that worked, the sheet in use.

use super::input::read_text;
use crate::bus::Baud;
use crate::image::one_line;
use serde::{Deserialize, Serialize};
use std::io::Write;
use std::path::{Path, PathBuf};

/// An adapter that was talked to.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct KnownAdapter {
    /// USB identity where the system tells one, else the port's name.
    pub identity: String,
    /// The line rate that worked last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<u32>,
    /// The module sheet used last: a built-in name or the absolute path of a file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// SHA-256 of its text then, as hexadecimal digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet_sha256: Option<String>,
}

/// The file that keeps it. Losing it costs nothing but a search.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Known {
    /// A real adapter was used on this machine: `sim` is no longer the default.
    pub real_port_used: bool,
    /// Adapters.
    #[serde(rename = "adapter")]
    pub adapters: Vec<KnownAdapter>,
    /// Why the file that is there could not be read; then nobody knows what it said.
    #[serde(skip)]
    pub damage: Option<String>,
    #[serde(skip)]
    file: PathBuf,
}

impl Known {
    /// What `folder/known.toml` says; nothing if it is missing.
    ///
    /// Of one that cannot be read the worst is taken: a real adapter was used.
    pub fn load(folder: &Path) -> Self {
        let file = folder.join("known.toml");
        let read = match read_text(&file) {
            Ok(text) => crate::notation::read(&text)
                .map_err(|error| format!("{}: {}", one_line(file.display()), error.message())),
            Err(error) if error.is_missing() => Ok(Self::default()),
            Err(error) => Err(error.to_string()),
        };
        let known = read.unwrap_or_else(|why| Self {
            real_port_used: true,
            damage: Some(why),
            ..Self::default()
        });
        Self { file, ..known }
    }

    /// What is known of `identity`.
    pub fn adapter(&self, identity: &str) -> Option<&KnownAdapter> {
        self.adapters.iter().find(|adapter| adapter.identity == identity)
    }

    /// The rate that worked last.
    pub fn rate(&self, identity: &str) -> Option<Baud> {
        self.adapter(identity)?.rate.map(Baud)
    }

    /// Remembers through `change`, and writes the file if something changed.
    pub fn remember(
        &mut self,
        identity: &str,
        change: impl FnOnce(&mut KnownAdapter),
    ) -> std::io::Result<()> {
        let before = self.clone();
        let at = self.adapters.iter().position(|adapter| adapter.identity == identity);
        let at = at.unwrap_or_else(|| {
            self.adapters.push(KnownAdapter { identity: identity.into(), ..Default::default() });
            self.adapters.len() - 1
        });
        change(&mut self.adapters[at]);
        if *self == before { Ok(()) } else { self.save() }
    }

    /// Remembers that a real adapter answered here.
    pub fn real_port(&mut self) -> std::io::Result<()> {
        if self.real_port_used {
            return Ok(());
        }
        self.real_port_used = true;
        self.save()
    }

    fn save(&self) -> std::io::Result<()> {
        let folder = self.file.parent().unwrap_or_else(|| Path::new("."));
        std::fs::create_dir_all(folder)?;
        let text = toml::to_string(self).map_err(std::io::Error::other)?;
        // Whole or not at all, also with two processes at once.
        let mut new = tempfile::NamedTempFile::new_in(folder)?;
        new.write_all(text.as_bytes())?;
        new.persist(&self.file)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_remembered_comes_back() {
        let folder = tempfile::tempdir().unwrap();
        let mut known = Known::load(folder.path());
        assert!(!known.real_port_used);
        known.remember("usb:1:2:x", |adapter| adapter.rate = Some(250_000)).unwrap();
        known.real_port().unwrap();
        let again = Known::load(folder.path());
        assert_eq!(again, known);
        assert_eq!(again.rate("usb:1:2:x"), Some(Baud(250_000)));
    }

    #[test]
    fn of_a_damaged_file_the_worst_is_taken_also_after_it_is_written_anew() {
        for damaged in [&b"\0[[nonsense"[..], &[0xFF, b'[']] {
            let folder = tempfile::tempdir().unwrap();
            std::fs::write(folder.path().join("known.toml"), damaged).unwrap();
            let mut known = Known::load(folder.path());
            assert!(known.damage.as_ref().unwrap().contains("known.toml: "), "{known:?}");
            assert!(known.adapters.is_empty() && known.real_port_used);
            known.remember("x", |adapter| adapter.rate = Some(9_600)).unwrap();
            let again = Known::load(folder.path());
            assert!(again.real_port_used && again.damage.is_none(), "{again:?}");
        }
    }
}
