//! Files that people name: only plain ones are read, and only as much as can be used.

use crate::image::one_line;
use rustix::fs::OFlags;
use std::fs::{File, FileType, OpenOptions};
use std::io::{ErrorKind, Read};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// The longest text that is read: a sheet, a description of a bench, what is remembered.
pub(crate) const TEXT_MAX: u64 = 1 << 20;

/// Why a file was not read.
#[derive(Debug, Error)]
pub enum InputError {
    /// The system refused.
    #[error("{}: {error}; is the path right?", one_line(path.display()))]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        error: std::io::Error,
    },
    /// It could be endless, or keep its reader waiting for ever.
    #[error("{}: this is {what}, and only plain files are read; name one", one_line(path.display()))]
    NotPlain {
        /// The file.
        path: PathBuf,
        /// What it is.
        what: &'static str,
    },
    /// It is longer than anything that is of use.
    #[error(
        "{}: it holds {got} bytes, and at most {most} are of use here; is it the right file?",
        one_line(path.display())
    )]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Its length, or what was read of one that has none.
        got: u64,
        /// The longest that is of use.
        most: u64,
    },
    /// A text with bytes that are none.
    #[error("{}: byte 0x{at:X} is no text (UTF-8); is it the right file?", one_line(path.display()))]
    NotText {
        /// The file.
        path: PathBuf,
        /// Where.
        at: usize,
    },
}

impl InputError {
    /// True if there is no file of that name.
    pub fn is_missing(&self) -> bool {
        matches!(self, Self::Io { error, .. } if error.kind() == ErrorKind::NotFound)
    }
}

/// A plain file that is open.
#[derive(Debug)]
pub(crate) struct Plain {
    path: PathBuf,
    file: File,
    /// Its length in bytes.
    pub length: u64,
}

impl Plain {
    /// Opens `path` if it is a plain file.
    pub(crate) fn open(path: &Path) -> Result<Self, InputError> {
        let io = |error| InputError::Io { path: path.to_owned(), error };
        // Looked at first: to open a device may do something to it.
        let kind = std::fs::metadata(path).map_err(io)?.file_type();
        plain(path, kind)?;
        // Without waiting, should a pipe have taken its place meanwhile.
        let flags = OFlags::NONBLOCK.bits().cast_signed();
        let file = OpenOptions::new().read(true).custom_flags(flags).open(path).map_err(io)?;
        let found = file.metadata().map_err(io)?;
        plain(path, found.file_type())?;
        Ok(Self { path: path.to_owned(), file, length: found.len() })
    }

    /// Reads it whole, unless it is longer than `most` bytes.
    pub(crate) fn read(self, most: u64) -> Result<Vec<u8>, InputError> {
        let Self { path, file, length } = self;
        let mut bytes = Vec::new();
        // Its length may have changed, and some systems tell none.
        if length <= most
            && let Err(error) = file.take(most + 1).read_to_end(&mut bytes)
        {
            return Err(InputError::Io { path, error });
        }
        let got = length.max(bytes.len() as u64);
        if got > most { Err(InputError::TooLong { path, got, most }) } else { Ok(bytes) }
    }
}

fn plain(path: &Path, kind: FileType) -> Result<(), InputError> {
    let what = match kind {
        kind if kind.is_file() => return Ok(()),
        kind if kind.is_dir() => "a folder",
        kind if kind.is_fifo() => "a pipe",
        kind if kind.is_socket() => "a socket",
        _ => "a device",
    };
    Err(InputError::NotPlain { path: path.to_owned(), what })
}

/// A plain file of at most `most` bytes.
pub(crate) fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, InputError> {
    Plain::open(path)?.read(most)
}

/// A plain file of text of at most [`TEXT_MAX`] bytes.
pub(crate) fn read_text(path: &Path) -> Result<String, InputError> {
    String::from_utf8(read_bytes(path, TEXT_MAX)?).map_err(|error| InputError::NotText {
        path: path.to_owned(),
        at: error.utf8_error().valid_up_to(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_its_bound_and_not_beyond() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.bin");
        std::fs::write(&path, [7; 100]).unwrap();
        assert_eq!(read_bytes(&path, 100).unwrap(), [7; 100]);
        let error = read_bytes(&path, 99).unwrap_err().to_string();
        assert!(error.contains("100 bytes") && error.contains("at most 99"), "{error}");
        std::fs::write(&path, [b'a', 0xFF]).unwrap();
        assert!(read_text(&path).unwrap_err().to_string().contains("byte 0x1 is no text"));
        assert!(read_text(&folder.path().join("none")).unwrap_err().is_missing());
    }

    #[test]
    fn what_has_no_length_and_no_end_is_refused() {
        for (path, what) in [("/", "a folder"), ("/dev/zero", "a device")] {
            let error = read_bytes(Path::new(path), 10).unwrap_err().to_string();
            assert!(error.contains(what) && error.starts_with(path), "{error}");
        }
    }
}
