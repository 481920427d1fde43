//! The firmware as machine code: built by avr-gcc, run in simavr by a rig of its own, with a module
//! on its ports.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::kit::{Kit, OnPty, run};
use super::outside_tool;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, PoisonError};
use tempfile::TempDir;

/// Firmware in the rig, on a pseudo-terminal.
pub struct Machine {
    folder: TempDir,
    adapter: OnPty,
    /// What the build said of its sizes.
    pub sizes: String,
}

/// What the rig has written down, and what the module holds at the end.
pub struct Books {
    /// The text.
    pub text: String,
    /// The contents of the store.
    pub store: Vec<u8>,
}

/// The rig and the firmware, ready to be started.
#[derive(Clone)]
pub struct Built {
    rig: PathBuf,
    firmware: PathBuf,
    clock: u32,
    sizes: String,
}

impl Built {
    /// With firmware for this clock that begins with this rate; `None` where a tool is missing. A
    /// test program builds each once.
    pub fn ready(clock: u32, rate: u32) -> Option<Self> {
        static READY: Mutex<BTreeMap<(u32, u32), Built>> = Mutex::new(BTreeMap::new());
        let tools = [
            ("avr-gcc", "gcc-avr"),
            ("/usr/lib/avr/include/avr/io.h", "avr-libc"),
            ("/usr/include/simavr/sim_avr.h", "libsimavr-dev"),
            ("/usr/include/libelf.h", "libelf-dev"),
        ];
        if !tools.iter().all(|(tool, package)| outside_tool(tool, package)) {
            return None;
        }
        let mut ready = READY.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(built) = ready.get(&(clock, rate)) {
            return Some(built.clone());
        }
        let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join(env!("CARGO_CRATE_NAME"));
        fs::create_dir_all(&out).unwrap();
        let kit = Kit::export()?;
        let sizes = kit.make(&["m2560", &format!("CLOCK={clock}"), &format!("RESET_RATE={rate}")]);
        let firmware = out.join(format!("m2560-{clock}-{rate}.elf"));
        fs::copy(kit.path().join("build/m2560.elf"), &firmware).unwrap();
        let rig = match ready.values().next() {
            Some(built) => built.rig.clone(),
            None => rig(&out),
        };
        let built = Self { rig, firmware, clock, sizes };
        ready.insert((clock, rate), built.clone());
        Some(built)
    }

    /// The rig's command with these options, and a module with these contents in a ROM, or in two
    /// flash chips of this type (four of one that takes pages), and so many words of RAM.
    pub fn command(
        &self,
        folder: &Path,
        options: &[&str],
        contents: &[u8],
        ram_words: u32,
        chip: Option<&str>,
    ) -> Command {
        let store = folder.join("store.bin");
        fs::write(&store, contents).unwrap();
        let mut command = Command::new(&self.rig);
        command.args(options).arg(&self.firmware).arg(self.clock.to_string());
        command.arg(store).arg(ram_words.to_string()).args(chip);
        command
    }
}

/// The rig, built without the product. The compiler writes it, so that no other thread of this
/// program can hold it open for writing when it is to be started.
fn rig(out: &Path) -> PathBuf {
    let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/kit");
    let out = out.join("rig");
    let sources = [
        "rig",
        "rig_module",
        "rig_pins",
        "rig_line",
        "rig_steps",
        "flash",
        "flash_types",
        "flash_amd",
        "flash_intel",
        "flash_page",
    ];
    let mut gcc = Command::new("gcc");
    gcc.args(["-std=gnu99", "-Wall", "-Wextra", "-O2", "-I/usr/include/simavr", "-o"]).arg(&out);
    gcc.args(sources.map(|name| tests.join(format!("{name}.c"))));
    run(gcc.args(["-lsimavr", "-lelf", "-lutil"]));
    out
}

impl Machine {
    /// The rig with firmware for this clock, a module with these contents in a ROM, or in two flash
    /// chips of this type, and so many words of RAM; `None` where a tool is missing.
    pub fn start(clock: u32, contents: &[u8], ram_words: u32, chip: Option<&str>) -> Option<Self> {
        Self::start_at(clock, 250_000, contents, ram_words, chip)
    }

    /// The same, with the rate that the firmware begins with.
    pub fn start_at(
        clock: u32,
        rate: u32,
        contents: &[u8],
        ram_words: u32,
        chip: Option<&str>,
    ) -> Option<Self> {
        let built = Built::ready(clock, rate)?;
        let folder = TempDir::new().unwrap();
        let mut command = built.command(folder.path(), &[], contents, ram_words, chip);
        let adapter = OnPty::start(&mut command);
        Some(Self { folder, adapter, sizes: built.sizes })
    }

    /// PORT as the program takes it.
    pub fn port(&self) -> &str {
        &self.adapter.port
    }

    /// Ends it; nothing may have gone against the times of the module or of the line.
    #[track_caller]
    pub fn end(self) -> Books {
        let text = self.adapter.end();
        assert!(text.contains("violations 0:"), "{text}");
        assert!(text.contains("overruns 0, overwritten 0"), "{text}");
        Books { text, store: fs::read(self.folder.path().join("store.bin")).unwrap() }
    }
}

impl Books {
    /// A number after these words.
    #[track_caller]
    pub fn number(&self, after: &str) -> u64 {
        number(&self.text, after)
    }

    /// Cycles and bus reads from the first reply of a kind to the last.
    pub fn of_kind(&self, kind: u8) -> (u64, u64) {
        let from = format!("kind {kind:02X}: ");
        let line = self.text.lines().find(|line| line.starts_with(&from));
        let line = line.unwrap_or_else(|| panic!("no {from}in {}", self.text));
        (number(line, "cycles"), number(line, "reads"))
    }
}

/// The number after these words.
#[track_caller]
pub fn number(text: &str, after: &str) -> u64 {
    let (_, rest) = text.split_once(after).unwrap_or_else(|| panic!("'{after}' in {text}"));
    let digits = rest.trim_start().split(|letter: char| !letter.is_ascii_digit()).next();
    digits.unwrap().parse().unwrap()
}
