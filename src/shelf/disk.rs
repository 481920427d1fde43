//! The few things the shelf does with a disk.

use std::any::Any;
use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

/// A lock that lasts until it is dropped or the process ends.
pub(crate) struct Lock {
    _holder: Box<dyn Any + Send + Sync>,
}

impl Lock {
    /// A lock that `holder` gives back when it is dropped.
    pub(crate) fn new(holder: impl Any + Send + Sync) -> Self {
        Self { _holder: Box::new(holder) }
    }
}

/// A disk, or something that behaves like one in a test.
///
/// Every write is on the medium when its call returns; a new or moved name is there for certain
/// only after [`Disk::sync_dir`] of its folder. Scratch files (see [`scratch`]) apart, there is no
/// call that deletes, and none that replaces a file other than from a scratch file.
pub(crate) trait Disk: Send + Sync {
    /// Makes a folder and those above it.
    fn create_dir_all(&self, path: &Path) -> io::Result<()>;
    /// Makes a file with `bytes` in it; an error if the name is taken.
    fn create_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Writes a scratch file, replacing what an earlier attempt left there.
    fn write_scratch(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Takes away a scratch file that could not be written whole.
    fn remove_scratch(&self, path: &Path) -> io::Result<()>;
    /// Adds `bytes` to the end of a file, which is made if it is missing.
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Writes `bytes` at `offset` of a file that is there; a gap before it reads as zeros.
    fn write_at(&self, path: &Path, offset: u64, bytes: &[u8]) -> io::Result<()>;
    /// The whole file.
    fn read(&self, path: &Path) -> io::Result<Vec<u8>>;
    /// `len` bytes from `offset`, fewer at the end of the file.
    fn read_at(&self, path: &Path, offset: u64, len: usize) -> io::Result<Vec<u8>>;
    /// Gives a file or folder a new name; an error if that name is taken.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Puts the scratch file `from` in the place of `to`, in one step.
    fn replace(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Makes sure that the names in a folder are on the medium.
    fn sync_dir(&self, path: &Path) -> io::Result<()>;
    /// The names in a folder, in order.
    fn list(&self, path: &Path) -> io::Result<Vec<String>>;
    /// True if there is a file or folder of that name.
    fn exists(&self, path: &Path) -> io::Result<bool>;
    /// True if it is a plain file: no folder, device, pipe or socket.
    fn is_file(&self, path: &Path) -> io::Result<bool>;
    /// The length of a file in bytes.
    fn len(&self, path: &Path) -> io::Result<u64>;
    /// Takes the lock of that name; `None` if somebody else has it.
    fn try_lock(&self, path: &Path) -> io::Result<Option<Lock>>;
    /// Takes the lock of that name, waiting for whoever has it.
    fn lock(&self, path: &Path) -> io::Result<Lock>;
}

/// The ending of scratch files: the only ones that may be replaced or removed.
const SCRATCH: &str = "buswright-part";

/// The name under which `path` is written before it gets its own.
pub(super) fn scratch(path: &Path) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(".");
    name.push(SCRATCH);
    PathBuf::from(name)
}

/// An error unless `path` is the name of a scratch file.
pub(super) fn only_scratch(path: &Path) -> io::Result<()> {
    if path.extension().is_some_and(|ending| ending == SCRATCH) {
        return Ok(());
    }
    Err(io::Error::new(
        io::ErrorKind::InvalidInput,
        "only scratch files may be replaced or removed",
    ))
}

/// The folder that holds `path`.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        Some(_) => Path::new("."),
        None => path,
    }
}
