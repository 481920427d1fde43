//! A disk in memory that can fill up, be read-only, or lose its process or its power at any
//! operation.

use super::disk::{Disk, Lock, folder_of, only_scratch};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};

/// How much of the operation that fails still happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tear {
    /// Nothing.
    Nothing,
    /// Half of the bytes; names are all or nothing.
    Half,
    /// All of it, but nobody hears of it.
    All,
}

/// The disk; clones are the same disk.
#[derive(Clone, Default)]
pub(crate) struct MemDisk(Arc<Mutex<State>>);

#[derive(Default)]
struct State {
    files: BTreeMap<PathBuf, Vec<u8>>,
    dirs: BTreeSet<PathBuf>,
    locked: BTreeSet<PathBuf>,
    /// Name changes that no sync of their folder has settled yet, oldest first.
    unsettled: Vec<Undo>,
    operations: u64,
    fault: Option<(u64, Tear)>,
    dead: bool,
    room: Option<usize>,
    read_only: bool,
}

/// How to take back a name change.
enum Undo {
    Made(PathBuf),
    Moved { from: PathBuf, to: PathBuf, old: Option<Vec<u8>> },
}

impl MemDisk {
    /// After `operation` more operations (1 is the next one) nothing works any more.
    pub(crate) fn fail_at(&self, operation: u64, tear: Tear) {
        let mut state = self.state();
        state.fault = Some((state.operations + operation, tear));
    }

    /// True if the fault has come: nothing works until [`MemDisk::restart`].
    pub(crate) fn is_dead(&self) -> bool {
        self.state().dead
    }

    /// Another disk with the same files on it.
    pub(crate) fn copy(&self) -> Self {
        let state = self.state();
        let (files, dirs) = (state.files.clone(), state.dirs.clone());
        Self(Arc::new(Mutex::new(State { files, dirs, ..State::default() })))
    }

    /// A new process after a kill; after a power cut if `power`, which takes back every name
    /// change that was not settled. Returns whether the fault had come.
    pub(crate) fn restart(&self, power: bool) -> bool {
        let mut state = self.state();
        state.fault = None;
        state.locked.clear();
        while let Some(undo) = state.unsettled.pop() {
            if power {
                state.take_back(undo);
            }
        }
        std::mem::take(&mut state.dead)
    }

    /// Lets `bytes` more be written.
    pub(crate) fn room(&self, bytes: Option<usize>) {
        self.state().room = bytes;
    }

    /// Refuses every write.
    pub(crate) fn read_only(&self, on: bool) {
        self.state().read_only = on;
    }

    /// All files below `path`.
    pub(crate) fn below(&self, path: &str) -> BTreeMap<PathBuf, Vec<u8>> {
        let state = self.state();
        let files = state.files.iter().filter(|(name, _)| name.starts_with(path));
        files.map(|(name, bytes)| (name.clone(), bytes.clone())).collect()
    }

    /// Changes a file behind the shelf's back.
    pub(crate) fn spoil(&self, path: &str, change: impl FnOnce(&mut Vec<u8>)) {
        change(self.state().files.get_mut(Path::new(path)).expect("a file to spoil"));
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().expect("no test panics while it holds the disk")
    }

    fn operation(&self) -> io::Result<(MutexGuard<'_, State>, Option<Tear>)> {
        let mut state = self.state();
        if state.dead {
            return Err(killed());
        }
        state.operations += 1;
        let now = state.operations;
        let tear = state.fault.filter(|(at, _)| *at == now).map(|(_, tear)| tear);
        state.dead = tear.is_some();
        Ok((state, tear))
    }

    fn reading<T>(&self, read: impl FnOnce(&State) -> io::Result<T>) -> io::Result<T> {
        let (state, tear) = self.operation()?;
        if tear.is_some() { Err(killed()) } else { read(&state) }
    }

    /// A change of names: all or nothing.
    fn naming<T>(&self, change: impl FnOnce(&mut State) -> io::Result<T>) -> io::Result<T> {
        let (mut state, tear) = self.operation()?;
        if state.read_only {
            return Err(ErrorKind::ReadOnlyFilesystem.into());
        }
        match tear {
            None => change(&mut state),
            Some(Tear::All) => {
                let result = change(&mut state);
                // A lock that nobody hears of is given back, which takes the state again.
                drop(state);
                result.and(Err(killed()))
            }
            Some(_) => Err(killed()),
        }
    }

    /// A write of bytes, of which a part may happen.
    fn writing(
        &self,
        bytes: &[u8],
        write: impl FnOnce(&mut State, &[u8]) -> io::Result<()>,
    ) -> io::Result<()> {
        let (mut state, tear) = self.operation()?;
        if state.read_only {
            return Err(ErrorKind::ReadOnlyFilesystem.into());
        }
        let (len, result) = match tear {
            Some(Tear::Nothing) => return Err(killed()),
            Some(Tear::Half) => (bytes.len() / 2, Err(killed())),
            Some(Tear::All) => (bytes.len(), Err(killed())),
            None => (bytes.len(), Ok(())),
        };
        let room = state.room.unwrap_or(usize::MAX);
        let fits = len.min(room);
        write(&mut state, &bytes[..fits])?;
        state.room = state.room.map(|room| room - fits);
        if fits < len { Err(ErrorKind::StorageFull.into()) } else { result }
    }
}

fn killed() -> io::Error {
    io::Error::other("the process was killed here")
}

impl State {
    fn taken(&self, path: &Path) -> bool {
        self.files.contains_key(path) || self.dirs.contains(path)
    }

    fn make(&mut self, path: &Path) -> io::Result<()> {
        if !self.dirs.contains(folder_of(path)) {
            return Err(ErrorKind::NotFound.into());
        }
        self.files.insert(path.to_owned(), Vec::new());
        self.unsettled.push(Undo::Made(path.to_owned()));
        Ok(())
    }

    fn file(&mut self, path: &Path) -> io::Result<&mut Vec<u8>> {
        self.files.get_mut(path).ok_or_else(|| ErrorKind::NotFound.into())
    }

    /// Moves files, folders and what is still to be taken back below `from`.
    fn carry(&mut self, from: &Path, to: &Path) {
        let moved = |path: &Path| path.strip_prefix(from).ok().map(|rest| join(to, rest));
        self.files = std::mem::take(&mut self.files)
            .into_iter()
            .map(|(path, bytes)| (moved(&path).unwrap_or(path), bytes))
            .collect();
        self.dirs = std::mem::take(&mut self.dirs)
            .into_iter()
            .map(|path| moved(&path).unwrap_or(path))
            .collect();
        for undo in &mut self.unsettled {
            let paths = match undo {
                Undo::Made(path) => vec![path],
                Undo::Moved { from, to, .. } => vec![from, to],
            };
            for path in paths {
                if let Some(new) = moved(path) {
                    *path = new;
                }
            }
        }
    }

    fn take_back(&mut self, undo: Undo) {
        match undo {
            Undo::Made(path) => {
                self.files.retain(|name, _| !name.starts_with(&path));
                self.dirs.retain(|name| !name.starts_with(&path));
            }
            Undo::Moved { from, to, old } => {
                self.carry(&to, &from);
                if let Some(old) = old {
                    self.files.insert(to, old);
                }
            }
        }
    }
}

/// `to` with `rest` below it; no trailing slash if there is no rest.
fn join(to: &Path, rest: &Path) -> PathBuf {
    if rest.as_os_str().is_empty() { to.to_owned() } else { to.join(rest) }
}

impl Disk for MemDisk {
    fn create_dir_all(&self, path: &Path) -> io::Result<()> {
        self.naming(|state| {
            let above: Vec<PathBuf> = path.ancestors().map(Path::to_owned).collect();
            for path in above.into_iter().rev() {
                if state.dirs.insert(path.clone()) {
                    state.unsettled.push(Undo::Made(path));
                }
            }
            Ok(())
        })
    }

    fn create_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.writing(bytes, |state, bytes| {
            if state.taken(path) {
                return Err(ErrorKind::AlreadyExists.into());
            }
            state.make(path)?;
            state.file(path)?.extend_from_slice(bytes);
            Ok(())
        })
    }

    fn write_scratch(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        only_scratch(path)?;
        self.writing(bytes, |state, bytes| {
            if !state.taken(path) {
                state.make(path)?;
            }
            *state.file(path)? = bytes.to_vec();
            Ok(())
        })
    }

    fn remove_scratch(&self, path: &Path) -> io::Result<()> {
        only_scratch(path)?;
        self.naming(|state| {
            let gone = state.files.remove(path);
            // Its making need not be taken back any more.
            state.unsettled.retain(|undo| !matches!(undo, Undo::Made(made) if made == path));
            gone.map(drop).ok_or_else(|| ErrorKind::NotFound.into())
        })
    }

    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.writing(bytes, |state, bytes| {
            if !state.taken(path) {
                state.make(path)?;
            }
            state.file(path)?.extend_from_slice(bytes);
            Ok(())
        })
    }

    fn write_at(&self, path: &Path, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.writing(bytes, |state, bytes| {
            let file = state.file(path)?;
            let end = offset as usize + bytes.len();
            file.resize(file.len().max(end), 0);
            file[offset as usize..end].copy_from_slice(bytes);
            Ok(())
        })
    }

    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        self.reading(|state| {
            state.files.get(path).cloned().ok_or_else(|| ErrorKind::NotFound.into())
        })
    }

    fn read_at(&self, path: &Path, offset: u64, len: usize) -> io::Result<Vec<u8>> {
        let bytes = self.read(path)?;
        Ok(bytes.into_iter().skip(offset as usize).take(len).collect())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.naming(|state| {
            if state.taken(to) {
                return Err(ErrorKind::AlreadyExists.into());
            }
            if !state.taken(from) || !state.dirs.contains(folder_of(to)) {
                return Err(ErrorKind::NotFound.into());
            }
            state.carry(from, to);
            let (from, to) = (from.to_owned(), to.to_owned());
            state.unsettled.push(Undo::Moved { from, to, old: None });
            Ok(())
        })
    }

    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        only_scratch(from)?;
        self.naming(|state| {
            if !state.files.contains_key(from) {
                return Err(ErrorKind::NotFound.into());
            }
            let old = state.files.remove(to);
            state.carry(from, to);
            let (from, to) = (from.to_owned(), to.to_owned());
            state.unsettled.push(Undo::Moved { from, to, old });
            Ok(())
        })
    }

    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        self.naming(|state| {
            state.unsettled.retain(|undo| match undo {
                Undo::Made(made) => folder_of(made) != path,
                Undo::Moved { to, .. } => folder_of(to) != path,
            });
            Ok(())
        })
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        self.reading(|state| {
            let all = state.files.keys().chain(&state.dirs);
            let names: BTreeSet<String> = all
                .filter(|name| name.parent() == Some(path))
                .filter_map(|name| Some(name.file_name()?.to_str()?.to_owned()))
                .collect();
            Ok(names.into_iter().collect())
        })
    }

    fn exists(&self, path: &Path) -> io::Result<bool> {
        self.reading(|state| Ok(state.taken(path)))
    }

    fn is_file(&self, path: &Path) -> io::Result<bool> {
        self.reading(|state| Ok(state.files.contains_key(path)))
    }

    fn len(&self, path: &Path) -> io::Result<u64> {
        self.read(path).map(|bytes| bytes.len() as u64)
    }

    fn try_lock(&self, path: &Path) -> io::Result<Option<Lock>> {
        self.naming(|state| {
            let free = state.locked.insert(path.to_owned());
            Ok(free.then(|| Lock::new(Held { disk: self.clone(), path: path.to_owned() })))
        })
    }

    fn lock(&self, path: &Path) -> io::Result<Lock> {
        // Nobody else could give it back: waiting would last for ever.
        self.try_lock(path)?.ok_or_else(|| ErrorKind::WouldBlock.into())
    }
}

struct Held {
    disk: MemDisk,
    path: PathBuf,
}

impl Drop for Held {
    fn drop(&mut self) {
        self.disk.state().locked.remove(&self.path);
    }
}
