//! A pseudo-terminal with the workbench in it, and when bytes came out of it.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use std::num::NonZero;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Nothing here takes so long.
const DEADLINE: Duration = Duration::from_secs(120);
/// A look at whether the terminal is still wanted.
const LOOK_UP: Timespec = Timespec { tv_sec: 0, tv_nsec: 50_000_000 };
/// Bytes that come closer together belong to one frame.
const FRAME: Duration = Duration::from_millis(10);

struct Seen {
    parser: vt100::Parser,
    chunks: Vec<(Instant, usize)>,
}

type Shared = Arc<(Mutex<Seen>, Condvar)>;

/// A terminal with the workbench in it.
pub struct Screen {
    child: Child,
    master: Option<Arc<OwnedFd>>,
    seen: Shared,
    reader: Option<JoinHandle<()>>,
    home: TempDir,
}

/// What came in a stretch of time.
pub struct Flow {
    /// Bytes a second.
    pub mean: f64,
    /// Bytes of the worst second, wherever it begins.
    pub worst_second: usize,
    /// Frames a second.
    pub frames: f64,
}

impl Screen {
    /// The workbench with `args` in a terminal of `size`, with nothing remembered.
    pub fn open(size: (u16, u16), args: &[&str]) -> Self {
        let home = TempDir::new().expect("a folder");
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).expect("a pty");
        grantpt(&master).expect("a pty");
        unlockpt(&master).expect("a pty");
        let name = ptsname(&master, Vec::new()).expect("a name").to_string_lossy().into_owned();
        let (ws_col, ws_row) = size;
        let winsize = Winsize { ws_row, ws_col, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&master, winsize).expect("a size");
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = open(name.as_str(), flags, Mode::empty()).expect("a slave");
        let stdio = || Stdio::from(slave.try_clone().expect("a descriptor"));
        let child = Command::new("setsid")
            .args(["--ctty", env!("CARGO_BIN_EXE_buswright")])
            .args(args)
            .arg("--shelf")
            .arg(home.path().join("shelf"))
            .current_dir(home.path())
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path().join("data"))
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8")
            .env_remove("NO_COLOR")
            .stdin(stdio())
            .stdout(stdio())
            .stderr(stdio())
            .spawn()
            .expect("the program");
        drop(slave);
        let cells = |n| NonZero::new(n).expect("a size");
        let parser = vt100::Parser::new(cells(ws_row), cells(ws_col), 0);
        let seen: Shared =
            Arc::new((Mutex::new(Seen { parser, chunks: Vec::new() }), Condvar::new()));
        let master = Arc::new(master);
        let reader = Some(std::thread::spawn({
            let (seen, master) = (Arc::clone(&seen), Arc::downgrade(&master));
            move || while master.upgrade().is_some_and(|master| read(&master, &seen)) {}
        }));
        Self { child, master: Some(master), seen, reader, home }
    }

    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Bytes so far.
    pub fn bytes(&self) -> usize {
        self.seen.0.lock().expect("no panic").chunks.iter().map(|(_, n)| n).sum()
    }

    fn wait<T>(&self, what: &str, found: impl Fn(&Seen) -> Option<T>) -> T {
        let until = Instant::now() + DEADLINE;
        let mut seen = self.seen.0.lock().expect("no panic");
        loop {
            if let Some(found) = found(&seen) {
                return found;
            }
            let left = until.saturating_duration_since(Instant::now());
            let text = seen.parser.screen().contents();
            assert!(!left.is_zero(), "{what} was not seen in time:\n{text}");
            seen = self.seen.1.wait_timeout(seen, left).expect("no panic").0;
        }
    }

    /// Waits until `words` are on the screen.
    pub fn shows(&self, words: &str) {
        self.wait(words, |seen| seen.parser.screen().contents().contains(words).then_some(()));
    }

    /// Waits until nothing has come for `time`.
    pub fn quiet(&self, time: Duration) {
        loop {
            let last = self.seen.0.lock().expect("no panic").chunks.last().map(|(at, _)| *at);
            let since = last.map_or(time, |at| at.elapsed());
            if since >= time {
                return;
            }
            std::thread::sleep(time.saturating_sub(since));
        }
    }

    /// Presses a key; gives the time to the first bytes that come after it.
    pub fn press(&self, key: &str) -> Duration {
        let before = self.seen.0.lock().expect("no panic").chunks.len();
        let master = self.master.as_ref().expect("a terminal");
        let start = Instant::now();
        rustix::io::write(master, key.as_bytes()).expect("typed");
        let at = self.wait("an answer to a key", |seen| seen.chunks.get(before).map(|one| one.0));
        at.duration_since(start)
    }

    /// What came in `time` from `from` on.
    pub fn flow(&self, from: Instant, time: Duration) -> Flow {
        let seen = self.seen.0.lock().expect("no panic");
        let chunks: Vec<_> =
            seen.chunks.iter().filter(|(at, _)| *at >= from && *at < from + time).collect();
        let all: usize = chunks.iter().map(|(_, n)| n).sum();
        let second = Duration::from_secs(1);
        let worst = chunks.iter().map(|(from, _)| {
            let in_it = chunks.iter().filter(|(at, _)| at >= from && *at < *from + second);
            in_it.map(|(_, n)| n).sum::<usize>()
        });
        let apart = |pair: &[&(Instant, usize)]| pair[1].0.duration_since(pair[0].0) > FRAME;
        let frames = chunks.windows(2).filter(|pair| apart(pair)).count() + 1;
        Flow {
            mean: all as f64 / time.as_secs_f64(),
            worst_second: worst.max().unwrap_or(0),
            frames: frames as f64 / time.as_secs_f64(),
        }
    }

    /// Closes the terminal, as a dropped connection does.
    pub fn hang_up(&mut self) {
        self.master = None;
        let _ = self.reader.take().map(JoinHandle::join);
    }

    /// Waits for the end of the process; gives its exit code.
    pub fn end(&mut self) -> Option<i32> {
        self.child.wait().expect("an end").code()
    }

    /// Captures on its shelf.
    pub fn captures(&self) -> usize {
        let folder = self.home.path().join("shelf/captures");
        std::fs::read_dir(folder).map_or(0, Iterator::count)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        self.hang_up();
    }
}

/// Takes what has come, or looks up whether the terminal is still wanted; false at its end.
fn read(master: &OwnedFd, seen: &Shared) -> bool {
    let mut set = [PollFd::new(master, PollFlags::IN)];
    if poll(&mut set, Some(&LOOK_UP)).is_err() || set[0].revents().is_empty() {
        return true;
    }
    let mut bytes = [0; 16 * 1024];
    let Ok(n @ 1..) = rustix::io::read(master, &mut bytes) else { return false };
    let now = Instant::now();
    let mut held = seen.0.lock().expect("no panic");
    held.chunks.push((now, n));
    held.parser.process(&bytes[..n]);
    seen.1.notify_all();
    true
}
