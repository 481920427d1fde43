//! Query tables: published ones, ones made to trap, random ones.
#![allow(clippy::unwrap_used, reason = "a test may stop at what it did not expect")]

mod golden;
mod primaries;
mod random;
mod traps;

use super::{Cfi, CfiError, Query};
use crate::chips::Region;

/// A table under construction; what is not set is that of a small AMD-type part.
#[derive(Clone, Debug)]
struct Table {
    /// Bytes from offset 0x10 on.
    bytes: Vec<u8>,
}

impl Table {
    /// A part of 2^`size` bytes with `regions` in table order and an extended table at 40.
    fn new(size: u8, regions: &[Region]) -> Self {
        let mut bytes = vec![0; 0x100 - 0x10];
        bytes[..0xB].copy_from_slice(b"QRY\x02\0\x40\0\0\0\0\0");
        bytes[0xB..0xD].copy_from_slice(&[0x27, 0x36]);
        bytes[0xF..0x17].copy_from_slice(&[4, 0, 0xA, 0, 5, 0, 4, 0]);
        let mut table = Self { bytes };
        table.set(0x27, &[size, 2]);
        table.set(0x2C, &[regions.len() as u8]);
        for (index, region) in regions.iter().enumerate() {
            let [a, b] = ((region.count - 1) as u16).to_le_bytes();
            let units = if region.bytes == 128 { 0 } else { region.bytes / 256 };
            let [c, d] = (units as u16).to_le_bytes();
            table.set(0x2D + 4 * index as u16, &[a, b, c, d]);
        }
        table
    }

    /// Bytes at `offset`.
    fn set(&mut self, offset: u16, bytes: &[u8]) {
        let start = usize::from(offset) - 0x10;
        self.bytes[start..start + bytes.len()].copy_from_slice(bytes);
    }

    /// An AMD extended table of version 1.`minor` with a boot flag.
    fn amd(mut self, minor: u8, boot: u8) -> Self {
        self.set(0x40, &[b'P', b'R', b'I', b'1', b'0' + minor, 0, 2, 1, 1, 4]);
        self.set(0x4F, &[boot]);
        self
    }

    fn decode(&self) -> Result<Cfi, CfiError> {
        Cfi::decode(&Query::new(self.bytes.clone()), None)
    }
}

fn region(count: u32, bytes: u64) -> Region {
    Region { count, bytes }
}

/// The 2 MiB of an 8 x 8K boot part, in bottom order.
fn boot_part() -> [Region; 2] {
    [region(8, 0x2000), region(31, 0x1_0000)]
}
