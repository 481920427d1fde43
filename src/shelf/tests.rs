//! The shelf as a whole, on a disk in memory and on the real one.

mod broken_disks;
mod captures;
mod journal;
mod kills;
mod plans;
mod real_disk;
mod resume;

use super::*;
use crate::bus::{Lane, Precharge, Width, WordAddress};
use std::path::Path;
use std::sync::Arc;

const ROOT: &str = "/bench/shelf";
const SHEET: &str = "format = 1\nname = \"TG-7\"\n";

fn shelf(disk: &MemDisk) -> Shelf {
    Shelf::open(Arc::new(disk.clone()), Path::new(ROOT)).unwrap()
}

fn label() -> Label {
    Label::parse("TG-7 #0417").unwrap()
}

/// Two spaces: three blocks and a bit, then one short block.
fn start(specimen: &Label) -> Start {
    let part = |space: &str, width, words| Part {
        space: space.to_owned(),
        width,
        base: WordAddress(0),
        first: WordAddress(0),
        words,
    };
    Start {
        specimen: specimen.clone(),
        sheet_sha256: sha256_hex(SHEET.as_bytes()),
        simulated: true,
        parts: vec![part("store", Width::W32, 0xC010), part("records", Width::W16, 0x20)],
    }
}

fn contents(start: &Start, seed: u32) -> Vec<u8> {
    (0..start.total_bytes() as u32)
        .map(|at| (at.wrapping_mul(0x9E37_79B1).wrapping_add(seed) >> 13) as u8)
        .collect()
}

fn time(seconds: i64) -> jiff::Timestamp {
    jiff::Timestamp::from_second(1_750_000_000 + seconds).unwrap()
}

/// A record with something in every field.
fn record(start: &Start, seconds: i64) -> Record {
    let mut record = Record::new(start, "TG-7", SHEET, time(seconds));
    record.note = "before the new tide table".to_owned();
    record.adapter.board = "bench:TG-7".to_owned();
    record.adapter.rates = vec![115_200, 1_000_000];
    record.link = LinkRecord { sent: 12, received: 11, repeated: 1, ..LinkRecord::default() };
    let space = &mut record.spaces[0];
    space.kind = "flash".to_owned();
    space.chips = vec![ChipRecord::new("U1", Lane { first: 0, bits: 16 })];
    space.passes = vec![
        PassRecord { blocks: 4, ..PassRecord::words(1, Precharge::Ones, 1, 150) },
        PassRecord { blocks: 8, ..PassRecord::checksums(2, Precharge::Zeros, -1, 150) },
    ];
    let mut unsteady = crate::image::Unsteady::default();
    unsteady.observe(Width::W16, WordAddress(0x101), &[&[1, 0], &[3, 0], &[1, 0]]);
    space.unsteady = UnsteadyRecord::new(&unsteady, |_| true);
    let kind = crate::image::DoubtKind::LineConstant { line: 7, level: false };
    space.doubts = vec![(&crate::image::Doubt { space: "store".to_owned(), kind }).into()];
    record
}

/// Stores every block that does not count yet.
fn fill(unfinished: &mut Unfinished, contents: &[u8]) -> Result<(), ShelfError> {
    for block in unfinished.blocks().to_vec() {
        if !unfinished.blocks_done().contains_key(&block.index) {
            let from = block.offset as usize;
            let bytes = &contents[from..from + block.bytes as usize];
            unfinished.put_fact(&format!("block {} held still", block.index))?;
            unfinished.put_block(block.index, block.offset, bytes, crate::bus::crc32(bytes))?;
        }
    }
    Ok(())
}

/// A whole capture, going on with an unfinished one.
fn capture(
    shelf: &Shelf,
    specimen: &Label,
    seed: u32,
    seconds: i64,
) -> Result<Finished, ShelfError> {
    let start = start(specimen);
    let mut unfinished = shelf.begin_or_resume(&start)?;
    fill(&mut unfinished, &contents(&start, seed))?;
    unfinished.finish(record(&start, seconds))
}
