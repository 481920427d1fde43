//! The real disk.

use super::disk::{Disk, Lock, only_scratch};
use rustix::fs::{FlockOperation, flock};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

/// The file system of this machine.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct OsDisk;

impl Disk for OsDisk {
    fn create_dir_all(&self, path: &Path) -> io::Result<()> {
        fs::create_dir_all(path)
    }

    fn create_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    }

    fn write_scratch(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        only_scratch(path)?;
        let mut file = File::create(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    }

    fn remove_scratch(&self, path: &Path) -> io::Result<()> {
        only_scratch(path)?;
        fs::remove_file(path)
    }

    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new().append(true).create(true).open(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    }

    fn write_at(&self, path: &Path, offset: u64, bytes: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new().write(true).open(path)?;
        file.seek(SeekFrom::Start(offset))?;
        file.write_all(bytes)?;
        file.sync_all()
    }

    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        fs::read(path)
    }

    fn read_at(&self, path: &Path, offset: u64, len: usize) -> io::Result<Vec<u8>> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(offset))?;
        let mut bytes = Vec::new();
        file.take(len as u64).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        rename_to_free_name(from, to)
    }

    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        only_scratch(from)?;
        fs::rename(from, to)
    }

    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        match File::open(path)?.sync_all() {
            // Some file systems (network, FUSE) know no sync of a folder and say so.
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported
                ) =>
            {
                Ok(())
            }
            other => other,
        }
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(path)? {
            // A name that is not text is none of ours.
            names.extend(entry?.file_name().into_string());
        }
        names.sort();
        Ok(names)
    }

    fn exists(&self, path: &Path) -> io::Result<bool> {
        path.try_exists()
    }

    fn is_file(&self, path: &Path) -> io::Result<bool> {
        Ok(fs::metadata(path)?.is_file())
    }

    fn len(&self, path: &Path) -> io::Result<u64> {
        Ok(fs::metadata(path)?.len())
    }

    fn try_lock(&self, path: &Path) -> io::Result<Option<Lock>> {
        let file = lock_file(path)?;
        match flock(&file, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => Ok(Some(Lock::new(file))),
            Err(rustix::io::Errno::WOULDBLOCK) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    fn lock(&self, path: &Path) -> io::Result<Lock> {
        let file = lock_file(path)?;
        while let Err(error) = flock(&file, FlockOperation::LockExclusive) {
            // A signal that arrives while waiting (a resized terminal) is no reason to give up.
            if error != rustix::io::Errno::INTR {
                return Err(error.into());
            }
        }
        Ok(Lock::new(file))
    }
}

fn lock_file(path: &Path) -> io::Result<File> {
    OpenOptions::new().write(true).create(true).truncate(false).open(path)
}

/// Renames in one step where the system can refuse a taken name, else looks first.
fn rename_to_free_name(from: &Path, to: &Path) -> io::Result<()> {
    #[cfg(any(target_os = "linux", target_os = "macos"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        use rustix::io::Errno;
        match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
            // Older kernels and some file systems do not know the flag.
            Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => {}
            other => return other.map_err(Into::into),
        }
    }
    if to.try_exists()? {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    fs::rename(from, to)
}
