//! Backing files for QEMU's flash that hold real firmware.

use super::outside_tool;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// The part of a flash that a firmware takes, FF after its last byte.
pub const RANGE: usize = 1 << 20;

const PACKAGE: &str = "u-boot-qemu";

/// Real firmware from the Debian package u-boot-qemu.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Firmware {
    /// For 64-bit ARM: 971,304 bytes in the package of Debian 12.
    Arm,
    /// For x86: a whole ROM of 1 MiB.
    X86,
}

impl Firmware {
    /// Where the package puts it.
    pub const fn path(self) -> &'static str {
        match self {
            Self::Arm => "/usr/lib/u-boot/qemu_arm64/u-boot.bin",
            Self::X86 => "/usr/lib/u-boot/qemu-x86/u-boot.rom",
        }
    }

    /// True if it is installed; the rule of [`outside_tool`] otherwise.
    pub fn ready(self) -> bool {
        outside_tool(self.path(), PACKAGE)
    }
}

/// A backing file in a temporary folder of its own, removed on drop.
pub struct FlashImage {
    _folder: TempDir,
    path: PathBuf,
    /// Where the firmware begins, in bytes.
    pub start: usize,
    /// The [`RANGE`] bytes from there.
    pub range: Vec<u8>,
}

impl FlashImage {
    /// The backing file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What the backing file holds now.
    pub fn contents(&self) -> Vec<u8> {
        fs::read(&self.path).unwrap_or_else(|error| panic!("{}: {error}", self.path.display()))
    }
}

/// Lays `firmware` into a new backing file of `flash_bytes`, at `start`; all the rest is FF.
pub fn firmware_image(firmware: Firmware, flash_bytes: usize, start: usize) -> FlashImage {
    let mut range =
        fs::read(firmware.path()).unwrap_or_else(|error| panic!("{}: {error}", firmware.path()));
    assert!(range.len() <= RANGE, "{} is larger than {RANGE} bytes", firmware.path());
    assert!(start + RANGE <= flash_bytes, "the firmware would leave the flash");
    range.resize(RANGE, 0xFF);
    let mut flash = vec![0xFF; flash_bytes];
    flash[start..start + RANGE].copy_from_slice(&range);
    let folder = TempDir::new().unwrap_or_else(|error| panic!("a temporary folder: {error}"));
    let path = folder.path().join("flash.bin");
    fs::write(&path, flash).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    FlashImage { _folder: folder, path, start, range }
}
