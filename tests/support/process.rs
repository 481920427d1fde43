//! Child processes that end with the test, and the program itself as one of them.

use std::ffi::OsStr;
use std::io::Read;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

/// A child that is killed and reaped with its owner.
pub struct Process(pub Child);

impl Drop for Process {
    fn drop(&mut self) {
        // Both fail only for a process that has ended and been reaped already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// What a run of the program has come to.
pub struct Ran {
    /// Its exit code; `None` if a signal ended it.
    pub code: Option<i32>,
    /// Its standard output.
    pub out: String,
    /// Its standard error.
    pub err: String,
}

impl Ran {
    /// Panics unless it ended with `code` and its output holds all of `words`.
    pub fn assert_says(&self, code: i32, words: &[&str]) {
        let said = format!("standard output:\n{}standard error:\n{}", self.out, self.err);
        assert_eq!(self.code, Some(code), "{said}");
        for word in words {
            assert!(self.out.contains(word), "'{word}' is missing in {said}");
        }
    }
}

/// A run over a fast line takes seconds; a loaded machine may need many more.
const LIMIT: Duration = Duration::from_secs(120);

/// Runs the program with `args` to its end; what it remembers, it keeps below `home`.
pub fn buswright<A: AsRef<OsStr>>(home: &Path, args: impl IntoIterator<Item = A>) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_buswright"));
    command.args(args).env("HOME", home).env("XDG_DATA_HOME", home.join("data"));
    command.env_remove("BUSWRIGHT_SHELF");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = match command.spawn() {
        Ok(child) => Process(child),
        Err(error) => panic!("{command:?}: {error}"),
    };
    let until = Instant::now() + LIMIT;
    let (out, err) = (heard(child.0.stdout.take()), heard(child.0.stderr.take()));
    let [(out, out_ends), (err, err_ends)] = [out, err].map(|pipe| all(&pipe, until));
    assert!(
        out_ends && err_ends,
        "{command:?} did not end in {LIMIT:?}; so far it wrote:\n{out}{err}"
    );
    // The program never closes these two itself, so it has ended.
    match child.0.wait() {
        Ok(status) => Ran { code: status.code(), out, err },
        Err(error) => panic!("{command:?}: {error}"),
    }
}

/// Reads `pipe` in a thread, so that waiting for it can have an end.
fn heard(pipe: Option<impl Read + Send + 'static>) -> Receiver<Vec<u8>> {
    let (sender, receiver) = channel();
    thread::spawn(move || {
        let mut bytes = [0; 4096];
        let Some(mut pipe) = pipe else { return };
        while let Ok(n @ 1..) = pipe.read(&mut bytes) {
            if sender.send(bytes[..n].to_vec()).is_err() {
                return;
            }
        }
    });
    receiver
}

/// Everything that comes until `until`, and whether it has come to its end by then.
fn all(pipe: &Receiver<Vec<u8>>, until: Instant) -> (String, bool) {
    let mut bytes = Vec::new();
    let ends = loop {
        match pipe.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(more) => bytes.extend(more),
            Err(RecvTimeoutError::Disconnected) => break true,
            Err(RecvTimeoutError::Timeout) => break false,
        }
    };
    (String::from_utf8_lossy(&bytes).into_owned(), ends)
}
