//! A user's home in a temporary folder, and the real program run in it.
//!
//! Nothing waits for a fixed time: every wait is for a condition, with a deadline that a loaded
//! machine does not reach.

#![allow(dead_code, reason = "every test binary uses a part of it")]
#![allow(clippy::expect_used, reason = "a test ends where its set-up fails")]

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// No condition takes so long.
pub const DEADLINE: Duration = Duration::from_secs(120);

/// A folder to work in, with a data folder and a shelf of its own.
pub struct Home {
    folder: Arc<TempDir>,
    data: PathBuf,
    shelf: PathBuf,
}

/// What a program that has ended has said.
#[derive(Debug)]
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Home {
    pub fn new() -> Self {
        let folder = Arc::new(TempDir::new().expect("a temporary folder"));
        let (data, shelf) = (folder.path().join("data"), folder.path().join("shelf"));
        Self { folder, data, shelf }
    }

    /// The same folder to work in, but a machine that remembers nothing and has an empty shelf.
    pub fn elsewhere(&self, name: &str) -> Self {
        let of = |what: &str| self.path(&format!("{name}-{what}"));
        Self { folder: Arc::clone(&self.folder), data: of("data"), shelf: of("shelf") }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn shelf(&self) -> &Path {
        &self.shelf
    }

    /// What this machine remembers.
    pub fn known(&self) -> PathBuf {
        self.data.join("buswright/known.toml")
    }

    pub fn write(&self, name: &str, contents: impl AsRef<[u8]>) {
        fs::write(self.path(name), contents).expect("a file in the temporary folder");
    }

    pub fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// How many captures are on the shelf.
    pub fn captures(&self) -> usize {
        fs::read_dir(self.shelf.join("captures")).map_or(0, Iterator::count)
    }

    /// The content of a capture.
    pub fn content(&self, id: &str) -> Vec<u8> {
        let file = self.shelf.join("captures").join(id).join("content.bin");
        fs::read(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()))
    }

    /// Flips a bit of a capture's content, as a dying disk would.
    pub fn flip(&self, id: &str, at: usize) {
        let mut content = self.content(id);
        content[at] ^= 4;
        let file = self.shelf.join("captures").join(id).join("content.bin");
        let mut permissions = fs::metadata(&file).expect("a capture").permissions();
        #[allow(clippy::permissions_set_readonly_false, reason = "a file of this test alone")]
        permissions.set_readonly(false);
        fs::set_permissions(&file, permissions).expect("a file of this test");
        fs::write(&file, content).expect("a file of this test");
    }

    /// The program with nothing of the user's own around it, and no shelf named.
    pub fn bare(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_buswright"));
        command
            .args(args)
            .current_dir(self.folder.path())
            .env("HOME", self.folder.path())
            .env("XDG_DATA_HOME", &self.data)
            .env_remove("BUSWRIGHT_SHELF")
            .stdin(Stdio::null());
        command
    }

    /// The program with this home's shelf.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = self.bare(args);
        command.env("BUSWRIGHT_SHELF", &self.shelf);
        command
    }

    /// A line for the shell that begins with the program's name, without a shelf of this home.
    pub fn shell(&self, line: &str) -> Command {
        let words = line.strip_prefix("buswright").expect("a command of the program");
        let bare = self.bare(&[]);
        let mut command = Command::new("sh");
        let program = env!("CARGO_BIN_EXE_buswright");
        command.arg("-c").arg(format!("exec '{program}'{words}"));
        command.current_dir(self.folder.path()).env_remove("BUSWRIGHT_SHELF").stdin(Stdio::null());
        command.envs(bare.get_envs().filter_map(|(name, value)| Some((name, value?))));
        command
    }

    /// Runs the program to its end.
    pub fn run(&self, args: &[&str]) -> Ran {
        self.start(args).finish()
    }

    /// Starts the program.
    pub fn start(&self, args: &[&str]) -> Running {
        Running::new(&mut self.command(args))
    }
}

impl Ran {
    /// The exit code was `code`, and every one of `words` was said.
    #[track_caller]
    pub fn says(self, code: i32, words: &[&str]) -> Self {
        assert_eq!(self.code, code, "exit code\n{self}");
        for word in words {
            assert!(self.all().contains(word), "'{word}' was not said\n{self}");
        }
        assert!(!self.all().contains("panicked"), "{self}");
        self
    }

    /// None of `words` was said.
    #[track_caller]
    pub fn never_says(self, words: &[&str]) -> Self {
        for word in words {
            assert!(!self.all().contains(word), "'{word}' was said\n{self}");
        }
        self
    }

    pub fn all(&self) -> String {
        format!("{}{}", self.out, self.err)
    }

    /// Standard output as one JSON object a line, which it must be.
    #[track_caller]
    pub fn events(&self) -> Vec<serde_json::Value> {
        objects(&self.out)
    }
}

impl std::fmt::Display for Ran {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "exit {}\n--- out\n{}--- err\n{}---", self.code, self.out, self.err)
    }
}

/// Every line of `text` as a JSON object.
#[track_caller]
pub fn objects(text: &str) -> Vec<serde_json::Value> {
    let object = |line: &str| {
        let value: serde_json::Value =
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{error} in: {line}"));
        assert!(value.is_object(), "{line}");
        value
    };
    text.lines().map(object).collect()
}

/// The lines that a stream has brought so far.
#[derive(Default)]
struct Heard {
    text: String,
    streams_open: u32,
}

type Shared = Arc<(Mutex<[Heard; 2]>, Condvar)>;

/// A program that runs; killed when dropped.
pub struct Running {
    child: Child,
    heard: Shared,
    name: String,
}

/// A stream of a program.
#[derive(Clone, Copy)]
pub enum Stream {
    Out,
    Err,
}

impl Running {
    /// Starts `command` and listens to whatever of its output is not sent elsewhere.
    pub fn new(command: &mut Command) -> Self {
        let name = format!("{:?}", command.get_args().collect::<Vec<_>>());
        let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
        let mut child = child.expect("the program starts");
        let heard: Shared = Arc::default();
        if let Some(out) = child.stdout.take() {
            listen(out, Stream::Out, &heard);
        }
        if let Some(err) = child.stderr.take() {
            listen(err, Stream::Err, &heard);
        }
        Self { child, heard, name }
    }

    /// Waits until a whole line with `word` has been said on `stream`, and gives that line.
    #[track_caller]
    pub fn wait_for(&self, stream: Stream, word: &str) -> String {
        self.wait_for_times(stream, word, 1)
    }

    /// Waits until `times` whole lines with `word` have been said, and gives the last of them.
    #[track_caller]
    pub fn wait_for_times(&self, stream: Stream, word: &str, times: usize) -> String {
        let found = self.wait(|heard| {
            let one = &heard[stream as usize];
            let whole = one.text.split_inclusive('\n').filter(|line| line.ends_with('\n'));
            let line = whole.filter(|line| line.contains(word)).nth(times - 1);
            match line {
                Some(line) => Some(Some(line.trim_end().to_string())),
                None => (one.streams_open == 0).then_some(None),
            }
        });
        match found {
            Some(Some(line)) => line,
            Some(None) => panic!("{} ended without saying '{word}'\n{}", self.name, self.said()),
            None => panic!("{} did not say '{word}' in time\n{}", self.name, self.said()),
        }
    }

    /// The same, but its end before that is as good.
    pub fn wait_for_times_or_end(&self, stream: Stream, word: &str, times: usize) {
        let found = self.wait(|heard| {
            let one = &heard[stream as usize];
            let said = one.text.lines().filter(|line| line.contains(word)).count();
            (said >= times || one.streams_open == 0).then_some(())
        });
        assert!(found.is_some(), "{} did not say '{word}' in time\n{}", self.name, self.said());
    }

    fn wait<T>(&self, done: impl Fn(&[Heard; 2]) -> Option<T>) -> Option<T> {
        let until = Instant::now() + DEADLINE;
        let (heard, changed) = &*self.heard;
        let mut heard = heard.lock().expect("a listener that did not panic");
        loop {
            if let Some(found) = done(&heard) {
                return Some(found);
            }
            let left = until.checked_duration_since(Instant::now())?;
            heard = changed.wait_timeout(heard, left).expect("as above").0;
        }
    }

    fn said(&self) -> String {
        let heard = self.heard.0.lock().expect("as above");
        format!("--- out\n{}--- err\n{}---", heard[0].text, heard[1].text)
    }

    /// Sends a signal.
    pub fn signal(&self, signal: rustix::process::Signal) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, signal).expect("a program that is there");
    }

    /// True while the program has not ended.
    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().expect("a child of this test").is_none()
    }

    /// True once the program has closed all of its output.
    pub fn has_ended(&self) -> bool {
        self.heard.0.lock().expect("as above").iter().all(|one| one.streams_open == 0)
    }

    /// Kills the program at once, as a power cut would.
    pub fn kill(mut self) -> Ran {
        self.child.kill().expect("a program that is there");
        self.finish()
    }

    /// Waits for the end.
    #[track_caller]
    pub fn finish(mut self) -> Ran {
        let ended = self.wait(|heard| heard.iter().all(|one| one.streams_open == 0).then_some(()));
        assert!(ended.is_some(), "{} did not end in time\n{}", self.name, self.said());
        let status = wait_for_end(&mut self.child, &self.name);
        let heard = self.heard.0.lock().expect("as above");
        let [out, err] = [heard[0].text.clone(), heard[1].text.clone()];
        Ran { code: status.code().unwrap_or(-1), out, err }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Waits for the end of a program whose output nobody listens to.
#[track_caller]
pub fn wait_for_end(child: &mut Child, name: &str) -> std::process::ExitStatus {
    let until = Instant::now() + DEADLINE;
    loop {
        if let Some(status) = child.try_wait().expect("a child of this test") {
            return status;
        }
        assert!(Instant::now() < until, "{name} did not end in time");
        thread::sleep(Duration::from_millis(2));
    }
}

fn listen(from: impl Read + Send + 'static, stream: Stream, heard: &Shared) {
    let heard = Arc::clone(heard);
    heard.0.lock().expect("nobody else is there yet")[stream as usize].streams_open = 1;
    thread::spawn(move || {
        let mut from = BufReader::new(from);
        let mut line = Vec::new();
        loop {
            line.clear();
            let more = from.read_until(b'\n', &mut line).is_ok_and(|n| n > 0);
            let (lines, changed) = &*heard;
            let Ok(mut lines) = lines.lock() else { return };
            let one = &mut lines[stream as usize];
            if more {
                one.text.push_str(&String::from_utf8_lossy(&line));
            } else {
                one.streams_open = 0;
            }
            drop(lines);
            changed.notify_all();
            if !more {
                return;
            }
        }
    });
}
