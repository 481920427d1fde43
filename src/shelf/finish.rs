//! From unfinished to the shelf, in one step.

use super::text::crc_hex;
use super::{CaptureId, Record, ShelfError, Unfinished, sha256_hex};
use crate::bus::crc32;

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
        let content = self.shelf.files().read(&self.content_path())?;
        let total = self.start.total_bytes();
        if content.len() as u64 != total {
            let what = format!("it has {} bytes; {total} were stored", content.len());
            return Err(ShelfError::Changed { path: self.content_path(), what });
        }
        for space in &mut record.spaces {
            space.crc32.clear();
        }
        for block in &self.blocks {
            let from = block.offset as usize;
            let bytes = &content[from..from + block.bytes as usize];
            let logged = self.done.get(&block.index).copied().unwrap_or_default();
            self.check_block(block, bytes, logged)?;
            if let Some(space) = record.spaces.get_mut(block.part) {
                space.crc32.push(crc_hex(crc32(bytes)));
            }
        }
        let mut offset = 0_usize;
        for space in &mut record.spaces {
            space.offset = offset as u64;
            space.bytes = u64::from(space.words) * space.width.bytes() as u64;
            let end = offset + space.bytes as usize;
            space.sha256 = sha256_hex(&content[offset..end]);
            offset = end;
        }
        record.bytes = total;
        record.block_bytes = super::BLOCK_BYTES;
        record.sha256 = sha256_hex(&content);
        record.resumed = self.resumed;
        Ok(())
    }
}
