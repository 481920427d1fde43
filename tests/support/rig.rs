//! A module that QEMU emulates, with firmware in it, and what a capture of it must have come to.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::firmware::{Firmware, FlashImage, RANGE, firmware_image};
use super::plugged::Witness;
use super::process::{Ran, buswright};
use super::qemu::{self, MUSICPAL_BYTES, VIRT_BYTES};
use buswright::bus::{Millivolts, Width};
use buswright::sim::{BenchDescription, Pace};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;
use toml::Table;

/// The module of QEMU's machine `virt`: 64 MiB on 32 bits.
const WIDE: &str = r#"
format = 1
name = "EF-32"
title = "Emulated flash of the Intel family, two x16 parts side by side"
rail_mv = 3300
address_lines = 24
[[space]]
name = "store"
kind = "flash"
family = "intel"
width = 32
words = 0x1000000
select = { CS0 = "low" }
chips = [{ ref = "U1", lane = "D0-D15" }, { ref = "U2", lane = "D16-D31" }]
"#;

/// The module of QEMU's machine `musicpal`: 8 MiB on 16 bits.
const NARROW: &str = r#"
format = 1
name = "EF-16"
title = "Emulated flash of the AMD family, one x16 part"
rail_mv = 3300
address_lines = 22
[[space]]
name = "store"
kind = "flash"
family = "amd"
width = 16
words = 0x400000
select = { CS0 = "low" }
chips = [{ ref = "U1", lane = "D0-D15" }]
"#;

/// A kind of module, and firmware in the backing file of one specimen.
pub struct Rig {
    name: &'static str,
    width: Width,
    /// The backing file.
    pub image: FlashImage,
    /// What the whole backing file holds.
    pub before: Vec<u8>,
    /// Shelf, sheet and whatever else the test writes.
    folder: TempDir,
}

impl Rig {
    /// Firmware at byte `start` of a flash of `virt`; `None` where a tool is missing.
    pub fn wide(start: usize) -> Option<Self> {
        Self::new(("EF-32", WIDE, Width::W32), Firmware::Arm, (VIRT_BYTES, start))
    }

    /// Firmware at byte `start` of the flash of `musicpal`; `None` where a tool is missing.
    pub fn narrow(start: usize) -> Option<Self> {
        Self::new(("EF-16", NARROW, Width::W16), Firmware::X86, (MUSICPAL_BYTES, start))
    }

    fn new(
        (name, sheet, width): (&'static str, &str, Width),
        firmware: Firmware,
        (bytes, start): (usize, usize),
    ) -> Option<Self> {
        if !qemu::ready() || !firmware.ready() {
            return None;
        }
        let image = firmware_image(firmware, bytes, start);
        let before = image.contents();
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("sheet.toml"), sheet).unwrap();
        Some(Self { name, width, image, before, folder })
    }

    /// A file of this name in its folder.
    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The same as text.
    pub fn text_at(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().to_string()
    }

    /// The label of the specimen.
    pub fn label(&self) -> String {
        format!("{} #0001", self.name)
    }

    /// The word address where the firmware begins.
    pub fn first(&self) -> u32 {
        (self.image.start / self.width.bytes()) as u32
    }

    /// How many words are captured.
    pub fn words(&self) -> u32 {
        (RANGE / self.width.bytes()) as u32
    }

    /// The words that are captured, as people write them.
    pub fn range(&self) -> String {
        format!("0x{:X}+0x{:X}", self.first(), self.words())
    }

    /// An adapter that calls itself `board`, without a module of its own.
    pub fn bench(&self, board: &str) -> BenchDescription {
        let (name, label) = (self.name, self.label());
        let text = format!(
            "format = 1\nsheet = \"{name}\"\nspecimen = \"{label}\"\nboard = \"{board}\"\n"
        );
        BenchDescription::parse("emulated.toml", &text).unwrap()
    }

    /// The same for real time: as fast as the emulator is. The host allows a slow controller more
    /// time for a word, which a loaded machine may need.
    pub fn fast_bench(&self, board: &str) -> BenchDescription {
        let mut bench = self.bench(board);
        bench.line.pace = Pace::Instant;
        bench.adapter.clock_hz = 1_000_000;
        bench
    }

    /// Runs the program on `port` with this shelf and specimen.
    pub fn run(&self, port: &str, args: &[&str]) -> Ran {
        let (folder, label) = (self.text_at("shelf"), self.label());
        let common = ["--port", port, "--shelf", &folder, "--specimen", &label];
        buswright(self.folder.path(), args.iter().chain(&common))
    }

    /// Checks the copy and its record against the backing file as it is now.
    pub fn check_copy(&self, sha256: &str, simulated: bool) {
        let now = self.image.contents();
        assert!(now == self.before, "capturing changed the backing file");
        let want = &now[self.image.start..][..RANGE];
        let copy = fs::read(self.at("shelf/captures/0001-001/content.bin")).unwrap();
        assert_eq!(copy.len(), RANGE);
        assert_eq!(copy.iter().zip(want).position(|(got, want)| got != want), None);
        let mut sum = String::new();
        for byte in Sha256::digest(want) {
            write!(sum, "{byte:02x}").unwrap();
        }
        assert_eq!(sha256, sum, "in the report");
        let text = fs::read_to_string(self.at("shelf/captures/0001-001/record.toml")).unwrap();
        let record: Table = text.parse().unwrap();
        assert_eq!(record["sha256"].as_str(), Some(&*sum), "{text}");
        assert_eq!(record["simulated"].as_bool(), Some(simulated), "{text}");
        assert_eq!(record["bytes"].as_integer(), i64::try_from(RANGE).ok(), "{text}");
        assert_eq!(record["specimen"].as_str(), Some(&*self.label()), "{text}");
        let space = &record["space"][0];
        assert_eq!(space["sha256"].as_str(), Some(&*sum), "{text}");
        assert_eq!(space["words"].as_integer(), Some(i64::from(self.words())), "{text}");
        assert_eq!(space["unsteady"]["total"].as_integer(), Some(0), "{text}");
        assert_eq!(space["pass"].as_array().map(Vec::len), Some(2), "{text}");
    }

    /// Both passes were read, each under its own conditions, with supply and without a write.
    /// `exactly`: no request was asked twice, as is certain in simulated time only.
    pub fn check_cycles(&self, witness: &Witness, exactly: bool) {
        let (seen, words) = (witness.seen(), u64::from(self.words()));
        assert_eq!((seen.writes, seen.unpowered), (0, 0), "{seen:?}");
        assert_eq!((seen.power_ups, seen.rail), (1, Millivolts(0)), "{seen:?}");
        assert_eq!(seen.pulses.len(), 2, "the second pass has a longer strobe: {seen:?}");
        let up = seen.reads - seen.reads_down;
        assert!(up >= words && seen.reads_down >= words, "{seen:?}");
        assert_eq!(seen.reads_down, seen.reads_after_ones, "{seen:?}");
        assert!(!exactly || (up == words && seen.reads_down == words), "{seen:?}");
    }
}
