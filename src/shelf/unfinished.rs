//! A capture that is being taken, or was interrupted.

use super::disk::Lock;
use super::files::Files;
use super::pending::{SET_ASIDE, UNFINISHED};
use super::progress::{self, Entry};
use super::text::crc_hex;
use super::{Block, Record, Shelf, ShelfError, Start};
use crate::bus::crc32;
use crate::image::one_line;
use crate::notation::read;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// An unfinished capture, locked against other processes while this value lives.
///
/// A block counts once it is in the content and its line is in the progress log, both on the
/// medium; so the process may end at any moment and nothing that counted is lost.
pub(crate) struct Unfinished {
    pub(super) shelf: Shelf,
    pub(super) start: Start,
    pub(super) folder: PathBuf,
    pub(super) blocks: Vec<Block>,
    pub(super) done: BTreeMap<u32, u32>,
    pub(super) resumed: u32,
    facts: Vec<String>,
    recorded: Option<Box<Record>>,
    set_aside: Option<SetAside>,
    taken_back: bool,
    _lock: Lock,
}

/// An unfinished capture that could not be gone on with and was moved out of the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SetAside {
    /// Where it is now.
    pub(crate) path: PathBuf,
    /// Why it did not fit.
    pub(crate) differences: Vec<String>,
}

impl std::fmt::Display for SetAside {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "an unfinished capture of this module could not be gone on with ({}); it is kept as {}",
            self.differences.join("; "),
            one_line(self.path.display())
        )
    }
}

impl Shelf {
    /// Goes on with the capture of this specimen that was begun with an equal `start`, whether
    /// unfinished or set aside, else begins one; an unfinished one that differs is set aside. [`ShelfError::Busy`] if another process
    /// works on it.
    pub(crate) fn begin_or_resume(&self, start: &Start) -> Result<Unfinished, ShelfError> {
        let files = self.files();
        let slug = start.specimen.slug();
        let folder = self.dir(UNFINISHED).join(&slug);
        let Some(lock) = files.try_lock(&self.dir("locks").join(&slug))? else {
            return Err(ShelfError::Busy { path: folder });
        };
        let mut unfinished = Unfinished {
            shelf: self.clone(),
            start: start.clone(),
            blocks: start.blocks(),
            done: BTreeMap::new(),
            resumed: 0,
            facts: Vec::new(),
            recorded: None,
            set_aside: None,
            taken_back: false,
            folder,
            _lock: lock,
        };
        match unfinished.misfits()? {
            None => {}
            Some(differences) if differences.is_empty() => {
                unfinished.resume()?;
                return Ok(unfinished);
            }
            Some(differences) => {
                let path = unfinished.move_aside(&slug)?;
                unfinished.set_aside = Some(SetAside { path, differences });
            }
        }
        let Some(fitting) = self.fitting_set_aside(start)? else {
            unfinished.begin()?;
            return Ok(unfinished);
        };
        if files.exists(&unfinished.folder)? {
            // A beginning that was killed before it held anything.
            unfinished.move_aside(&slug)?;
        }
        unfinished.take_back(&fitting)?;
        unfinished.resume()?;
        Ok(unfinished)
    }
}

impl Unfinished {
    /// What is different in the capture that is there; `None` if there is none to go on with.
    fn misfits(&self) -> Result<Option<Vec<String>>, ShelfError> {
        let files = self.shelf.files();
        let Some(bytes) = files.read_if_there(&self.folder.join("start.toml"))? else {
            // The start is written before the first block is taken: without it there is nothing
            // worth keeping, unless somebody took it away.
            let content = self.content_path();
            let lost = files.exists(&content)? && files.len(&content)? > 0;
            return Ok(lost.then(|| vec!["its start.toml is missing".to_owned()]));
        };
        let text = String::from_utf8_lossy(&bytes);
        Ok(Some(match read::<Start>(&text) {
            Ok(old) => self.start.differences(&old),
            Err(error) => vec![format!("its start.toml cannot be read: {}", error.message())],
        }))
    }

    fn begin(&mut self) -> Result<(), ShelfError> {
        let files = self.shelf.files();
        files.make_dir(&self.shelf.dir(UNFINISHED))?;
        files.make_dir(&self.folder)?;
        files.create_if_missing(&self.content_path())?;
        files.create_if_missing(&self.log_path())?;
        let path = self.folder.join("start.toml");
        let text = super::captures::to_toml(&path, &self.start)?;
        files.replace(&path, text.as_bytes())
    }

    fn resume(&mut self) -> Result<(), ShelfError> {
        let files = self.shelf.files().clone();
        files.create_if_missing(&self.content_path())?;
        files.append_line(&self.log_path(), &Entry::Resumed.line())?;
        // The process that made these names may have ended before they were settled.
        files.make_dir(&self.shelf.dir(UNFINISHED))?;
        files.make_dir(&self.folder)?;
        files.sync_dir(&self.folder)?;
        let mut logged = BTreeMap::new();
        for entry in progress::parse(&files.read(&self.log_path())?) {
            match entry {
                // The last word about a block counts: it may have been read again.
                Entry::Block { index, offset, bytes, crc } => {
                    logged.insert(index, (offset, bytes, crc));
                }
                Entry::Fact(fact) => self.facts.push(fact),
                Entry::Resumed => self.resumed += 1,
            }
        }
        for block in &self.blocks {
            let Some(&(offset, bytes, crc)) = logged.get(&block.index) else { continue };
            if (offset, bytes) != (block.offset, block.bytes) {
                continue;
            }
            if crc32(&read_block(&files, &self.content_path(), block)?) == crc {
                self.done.insert(block.index, crc);
            }
        }
        // A record here was written by a process that ended before the capture was moved to the
        // shelf; one that cannot be read is written anew.
        let record = files.read_if_there(&self.folder.join("record.toml"))?;
        self.recorded = record.and_then(|bytes| read(&String::from_utf8_lossy(&bytes)).ok());
        Ok(())
    }

    fn move_aside(&self, slug: &str) -> Result<PathBuf, ShelfError> {
        let files = self.shelf.files();
        let dir = self.shelf.dir(SET_ASIDE);
        files.make_dir(&dir)?;
        let mut number = 1_u32;
        let free = loop {
            let path = dir.join(format!("{slug}.{number}"));
            if !files.exists(&path)? {
                break path;
            }
            number = number.saturating_add(1);
        };
        files.rename(&self.folder, &free)?;
        files.sync_dir(&dir)?;
        files.sync_dir(&self.shelf.dir(UNFINISHED))?;
        Ok(free)
    }

    /// Puts one that was set aside in the place of the one that is gone on with.
    fn take_back(&mut self, from: &Path) -> Result<(), ShelfError> {
        let files = self.shelf.files();
        let dir = self.shelf.dir(UNFINISHED);
        files.make_dir(&dir)?;
        files.rename(from, &self.folder)?;
        files.sync_dir(&dir)?;
        files.sync_dir(&self.shelf.dir(SET_ASIDE))?;
        self.taken_back = true;
        Ok(())
    }

    /// Stores a block that was read to agreement; `crc` is its CRC-32/ISO-HDLC. It counts once
    /// this returns.
    pub(crate) fn put_block(
        &mut self,
        index: u32,
        offset: u64,
        bytes: &[u8],
        crc: u32,
    ) -> Result<(), ShelfError> {
        let what = match self.blocks.get(index as usize) {
            None => Some(format!("block {index} is none of its {} blocks", self.blocks.len())),
            Some(block) if block.offset != offset || block.bytes as usize != bytes.len() => {
                Some(format!(
                    "block {index} is {} bytes from {} on; got {} bytes from {offset} on",
                    block.bytes,
                    block.offset,
                    bytes.len()
                ))
            }
            Some(_) if crc32(bytes) != crc => Some(format!(
                "block {index} has the checksum {}; {} was given with it",
                crc_hex(crc32(bytes)),
                crc_hex(crc)
            )),
            Some(_) => None,
        };
        if let Some(what) = what {
            return Err(ShelfError::Misfit { path: self.folder.clone(), what });
        }
        self.done.remove(&index);
        self.shelf.files().write_at(&self.content_path(), offset, bytes)?;
        let entry = Entry::Block { index, offset, bytes: bytes.len() as u32, crc };
        self.shelf.files().append_line(&self.log_path(), &entry.line())?;
        self.done.insert(index, crc);
        Ok(())
    }

    /// Keeps a fact that the job needs again after an interruption, such as the unsteady words of
    /// a block; give it before the block it belongs to, so that a block that counts has its facts.
    pub(crate) fn put_fact(&mut self, fact: &str) -> Result<(), ShelfError> {
        let entry = Entry::Fact(fact.to_owned());
        self.shelf.files().append_line(&self.log_path(), &entry.line())?;
        self.facts.push(fact.to_owned());
        Ok(())
    }

    /// All facts in the order they were given; the same one may be there twice if the process
    /// ended between a fact and its block.
    pub(crate) fn facts(&self) -> &[String] {
        &self.facts
    }

    /// What it was begun with.
    pub(crate) fn start(&self) -> &Start {
        &self.start
    }

    /// The blocks that the content is cut into.
    pub(crate) fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// The blocks that count, with their checksums.
    pub(crate) fn blocks_done(&self) -> &BTreeMap<u32, u32> {
        &self.done
    }

    /// How often this capture was gone on with, this time included.
    pub(crate) fn resumed(&self) -> u32 {
        self.resumed
    }

    /// What was in the way and is now kept elsewhere.
    pub(crate) fn set_aside(&self) -> Option<&SetAside> {
        self.set_aside.as_ref()
    }

    /// True if it had been set aside.
    pub(crate) fn taken_back(&self) -> bool {
        self.taken_back
    }

    /// The record of an earlier process that ended just before it could move the capture to the
    /// shelf: it may be given to [`Unfinished::finish`] as it is.
    pub(crate) fn recorded(&self) -> Option<&Record> {
        self.recorded.as_deref()
    }

    /// The bytes of a block that counts, as the disk has them; `None` if it does not count.
    pub(crate) fn read_back(&self, index: u32) -> Result<Option<Vec<u8>>, ShelfError> {
        let block = self.blocks.get(index as usize);
        let Some((block, crc)) = block.zip(self.done.get(&index)) else { return Ok(None) };
        let bytes = read_block(self.shelf.files(), &self.content_path(), block)?;
        self.check_block(block, &bytes, *crc)?;
        Ok(Some(bytes))
    }

    pub(super) fn check_block(
        &self,
        block: &Block,
        bytes: &[u8],
        crc: u32,
    ) -> Result<(), ShelfError> {
        let got = crc32(bytes);
        if got == crc {
            return Ok(());
        }
        let what = format!(
            "block {} (bytes 0x{:X}+0x{:X}) was stored with checksum {} and reads back with {}",
            block.index,
            block.offset,
            block.bytes,
            crc_hex(crc),
            crc_hex(got)
        );
        Err(ShelfError::Changed { path: self.content_path(), what })
    }

    pub(super) fn content_path(&self) -> PathBuf {
        self.folder.join("content.bin")
    }

    fn log_path(&self) -> PathBuf {
        self.folder.join("progress.log")
    }
}

fn read_block(files: &Files, content: &Path, block: &Block) -> Result<Vec<u8>, ShelfError> {
    files.read_at(content, block.offset, block.bytes as usize)
}
