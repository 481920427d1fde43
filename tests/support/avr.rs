//! The firmware as machine code: built by avr-gcc, run in simavr by a rig of its own, with a module
//! on its ports.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::kit::{Kit, OnPty, run};
use super::outside_tool;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

/// Firmware in the rig, on a pseudo-terminal.
pub struct Machine {
    kit: Kit,
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

/// Everything that the build and the rig need; `None` where something is missing.
fn kit() -> Option<Kit> {
    let tools = [
        ("avr-gcc", "gcc-avr"),
        ("/usr/lib/avr/include/avr/io.h", "avr-libc"),
        ("/usr/include/simavr/sim_avr.h", "libsimavr-dev"),
        ("/usr/include/libelf.h", "libelf-dev"),
    ];
    if !tools.iter().all(|(tool, package)| outside_tool(tool, package)) {
        return None;
    }
    Kit::export()
}

/// The rig, built without the product.
fn rig(kit: &Kit) -> PathBuf {
    let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/kit");
    let out = kit.beside("rig");
    let sources =
        ["rig", "rig_module", "rig_line", "flash", "flash_types", "flash_amd", "flash_intel"];
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
        let kit = kit()?;
        let sizes = kit.make(&["m2560", &format!("CLOCK={clock}"), &format!("RESET_RATE={rate}")]);
        let store = kit.beside("store.bin");
        fs::write(&store, contents).unwrap();
        let mut command = Command::new(rig(&kit));
        command.arg(kit.path().join("build/m2560.elf")).arg(clock.to_string());
        command.arg(store).arg(ram_words.to_string()).args(chip);
        let adapter = OnPty::start(&mut command);
        Some(Self { kit, adapter, sizes })
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
        Books { text, store: fs::read(self.kit.beside("store.bin")).unwrap() }
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
