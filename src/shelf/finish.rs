//! From unfinished to the shelf, in one step.

use super::text::{crc_hex, finished_hex};
use super::{CaptureId, Record, ShelfError, Unfinished, sha256_hex};
use crate::bus::crc32;
use sha2::{Digest, Sha256};

/// A capture that is on the shelf.
#[derive(Debug)]
pub(crate) struct Finished {
    /// Its id.
    pub(crate) id: CaptureId,
    /// Its folder.
    pub(crate) folder: std::path::PathBuf,
    /// SHA-256 of the content.
    pub(crate) sha256: String,
    /// What went wrong after it got there (its line in the history is made up for with the next
    /// capture); the capture itself is whole.
    pub(crate) trouble: Option<ShelfError>,
}

impl Unfinished {
    /// Puts the capture on the shelf with its record; sums, id, number and the resumed count are
    /// filled in here, from what the disk gives back. After an error everything stays unfinished
    /// and can be gone on with.
    pub(crate) fn finish(self, mut record: Record) -> Result<Finished, ShelfError> {
        self.check_record(&record)?;
        self.fill(&mut record)?;
        let files = self.shelf.files();
        let lock = files.lock(&self.shelf.dir("locks").join("shelf"))?;
        let captures = self.shelf.dir("captures");
        files.make_dir(&captures)?;
        let id = self.shelf.next_id(&self.start.specimen.serial_slug())?;
        record.number = id.number();
        record.id = Some(id.clone());
        let path = self.folder.join("record.toml");
        let text = super::captures::to_toml(&path, &record)?;
        files.replace(&path, text.as_bytes())?;
        let folder = captures.join(id.to_string());
        files.rename(&self.folder, &folder)?;
        let settled = files
            .sync_dir(&captures)
            .and_then(|()| files.sync_dir(&self.shelf.dir("unfinished")))
            .and_then(|()| self.shelf.settle_history(&self.start.specimen, &lock));
        Ok(Finished { id, folder, sha256: record.sha256, trouble: settled.err() })
    }

    fn check_record(&self, record: &Record) -> Result<(), ShelfError> {
        let start = &self.start;
        let fits = |(space, part): (&super::SpaceRecord, &super::Part)| space.is_of(part);
        let spaces = record.spaces.len() == start.parts.len()
            && record.spaces.iter().zip(&start.parts).all(fits);
        let text = sha256_hex(record.sheet.text.as_bytes());
        let sheet = record.sheet.sha256 == start.sheet_sha256 && text == start.sheet_sha256;
        let wrong = [
            ("specimen", record.specimen == start.specimen),
            ("origin (simulated or real)", record.simulated == start.simulated),
            ("module sheet", sheet),
            ("list of spaces", spaces),
        ];
        match wrong.into_iter().find(|(_, good)| !good) {
            None => Ok(()),
            Some((what, _)) => Err(ShelfError::Misfit {
                path: self.folder.clone(),
                what: format!("its record has another {what} than it was begun with"),
            }),
        }
    }

    /// Reads the whole content once more and takes every sum from it.
    fn fill(&self, record: &mut Record) -> Result<(), ShelfError> {
        let missing: Vec<u32> = self
            .blocks
            .iter()
            .map(|block| block.index)
            .filter(|index| !self.done.contains_key(index))
            .collect();
        if let Some(&first) = missing.first() {
            return Err(ShelfError::Incomplete {
                path: self.folder.clone(),
                missing: missing.len(),
                blocks: self.blocks.len(),
                first,
            });
        }
        let total = self.start.total_bytes();
        let stored = self.shelf.files().len(&self.content_path())?;
        if stored != total {
            let what = format!("it has {stored} bytes; {total} were stored");
            return Err(ShelfError::Changed { path: self.content_path(), what });
        }
        let mut offset = 0;
        for space in &mut record.spaces {
            space.offset = offset;
            space.bytes = u64::from(space.words) * space.width.bytes() as u64;
            space.crc32.clear();
            offset += space.bytes;
        }
        // Block by block: a copy of a large module is in memory once already.
        let mut whole = Sha256::new();
        let mut hashes = vec![Sha256::new(); record.spaces.len()];
        for block in &self.blocks {
            let bytes = self.read_back(block.index)?.unwrap_or_default();
            whole.update(&bytes);
            if let (Some(space), Some(hash)) =
                (record.spaces.get_mut(block.part), hashes.get_mut(block.part))
            {
                space.crc32.push(crc_hex(crc32(&bytes)));
                hash.update(&bytes);
            }
        }
        for (space, hash) in record.spaces.iter_mut().zip(hashes) {
            space.sha256 = finished_hex(hash);
        }
        record.bytes = total;
        record.block_bytes = super::BLOCK_BYTES;
        record.sha256 = finished_hex(whole);
        record.resumed = self.resumed;
        Ok(())
    }
}
