//! Copies of content outside the shelf.

use super::{CaptureId, Shelf, ShelfError};
use crate::bus::ByteAddress;
use std::path::Path;

/// What an export came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exported {
    /// The file was written.
    Written,
    /// A file of that name with the same contents was there.
    AlreadyThere,
}

impl Shelf {
    /// Copies the content of a capture to the file `dest`, after proving that it fits its record.
    /// A file with other contents is never replaced.
    pub(crate) fn export(&self, id: &CaptureId, dest: &Path) -> Result<Exported, ShelfError> {
        let content = self.content(id)?;
        let files = self.files();
        if files.exists(dest)? {
            if !files.is_file(dest)? {
                return Err(ShelfError::NotAFile { path: dest.to_owned() });
            }
            // One byte more than the copy is enough to see that it is another one.
            let there = files.read_at(dest, 0, content.len() + 1)?;
            if there == content {
                return Ok(Exported::AlreadyThere);
            }
            let same = there.iter().zip(&content).take_while(|(a, b)| a == b).count();
            let at = ByteAddress(same as u64);
            return Err(ShelfError::WouldReplace { path: dest.to_owned(), at });
        }
        files.create_whole(dest, &content)?;
        Ok(Exported::Written)
    }
}
