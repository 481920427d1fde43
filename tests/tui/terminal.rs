//! A terminal that a program runs in, and what it shows.

use crate::home::{DEADLINE, Home, wait_for_end};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags, open};
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use std::num::NonZero;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Instant;

/// A look at whether the terminal is still wanted.
const LOOK_UP: Timespec = Timespec { tv_sec: 0, tv_nsec: 50_000_000 };

struct Shown {
    parser: vt100::Parser,
    /// Bytes so far.
    bytes: u64,
    raw: Vec<u8>,
    open: bool,
    /// Nothing is taken from the program, as over a link that stands still.
    stalled: bool,
}

type Shared = Arc<(Mutex<Shown>, Condvar)>;

/// A terminal with the workbench in it.
pub struct Terminal {
    pub child: Child,
    master: Option<Arc<OwnedFd>>,
    shown: Shared,
    reader: Option<JoinHandle<()>>,
}

/// A small bench of `blocks` blocks of 64 KiB of flash and one of RAM, at this pace, with its
/// sheet; its PORT.
pub fn bench(home: &Home, blocks: usize, pace: &str) -> &'static str {
    let words = blocks * 0x4000;
    let space = |name: &str, kind: &str, words: usize, line: &str| {
        format!(
            "[[KIND]]\nname = \"{name}\"\nkind = \"{kind}\"\nwidth = 32\nwords = {words}\n\
             select = {{ {line} = \"low\" }}\n"
        )
    };
    let spaces = space("store", "flash", words, "CS0") + &space("records", "ram", 0x1000, "CS1");
    let sheet = spaces.replace("KIND", "space");
    home.write(
        "small.toml",
        format!("format = 1\nname = \"PT\"\nrail_mv = 3300\naddress_lines = 20\n{sheet}"),
    );
    let memory = spaces.replace("KIND", "memory");
    home.write(
        "bench.toml",
        format!(
            "format = 1\nsheet = \"small.toml\"\nspecimen = \"PT #0001\"\n\
             [line]\npace = \"{pace}\"\n{memory}"
        ),
    );
    "sim:bench.toml"
}

impl Terminal {
    /// The workbench with `args` in a terminal of this size.
    pub fn new(home: &Home, size: (u16, u16), args: &[&str]) -> Self {
        Self::with(home, size, args, &[])
    }

    /// The same with more in its environment.
    pub fn with(home: &Home, size: (u16, u16), args: &[&str], more: &[(&str, &str)]) -> Self {
        let mut command = Command::new("setsid");
        command.arg("--ctty").arg(env!("CARGO_BIN_EXE_buswright")).args(args);
        command.arg("--shelf").arg(home.shelf());
        Self::at_home(home, &mut command, size, more)
    }

    /// A shell with job control that runs `script`; `$0` is the program, `$1` is `port`.
    pub fn shell(home: &Home, size: (u16, u16), script: &str, port: &str) -> Self {
        let mut command = Command::new("setsid");
        command.args(["--ctty", "bash", "-m", "-c", script, env!("CARGO_BIN_EXE_buswright"), port]);
        Self::at_home(home, &mut command, size, &[])
    }

    fn at_home(
        home: &Home,
        command: &mut Command,
        size: (u16, u16),
        more: &[(&str, &str)],
    ) -> Self {
        command
            .current_dir(home.path("."))
            .env("HOME", home.path("."))
            .env("XDG_DATA_HOME", home.known().parent().unwrap().parent().unwrap())
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8")
            .env_remove("NO_COLOR")
            .envs(more.iter().copied());
        Self::spawn(command, size)
    }

    fn spawn(command: &mut Command, size: (u16, u16)) -> Self {
        let master =
            openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().to_string_lossy().into_owned();
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = open(name.as_str(), flags, Mode::empty()).unwrap();
        let stdio = || Stdio::from(slave.try_clone().unwrap());
        resize(&master, size);
        let child = command.stdin(stdio()).stdout(stdio()).stderr(stdio()).spawn().unwrap();
        drop(slave);
        let parser = vt100::Parser::new(cells(size.1), cells(size.0), 0);
        let shown = Shown { parser, bytes: 0, raw: Vec::new(), open: true, stalled: false };
        let shown: Shared = Arc::new((Mutex::new(shown), Condvar::new()));
        let master = Arc::new(master);
        let reader = Some(thread::spawn({
            let (master, shown) = (Arc::downgrade(&master), Arc::clone(&shown));
            move || {
                // Upgraded for one look at a time, so that a hang-up is one at once.
                while let Some(master) = master.upgrade() {
                    if shown.0.lock().unwrap().stalled {
                        thread::sleep(std::time::Duration::from_millis(5));
                        continue;
                    }
                    if !read(&master, &shown) {
                        break;
                    }
                }
                shown.0.lock().unwrap().open = false;
                shown.1.notify_all();
            }
        }));
        Self { child, master: Some(master), shown, reader }
    }

    /// Types.
    pub fn types(&self, keys: &str) {
        let master = self.master.as_ref().unwrap();
        let mut left = keys.as_bytes();
        while !left.is_empty() {
            let sent = rustix::io::write(&**master, left).unwrap();
            left = &left[sent..];
        }
    }

    /// Types into the line after `head`, sign by sign: many in one go would be a paste.
    pub fn by_hand(&self, head: &str, text: &str) {
        let mut line = head.to_string();
        for sign in text.chars() {
            self.types(sign.encode_utf8(&mut [0; 4]));
            line.push(sign);
            // A blank at the end of a line cannot be seen.
            if sign != ' ' {
                self.wait(&line, |text| text.lines().any(|one| one.trim() == line));
            }
        }
    }

    /// Gives the window another size.
    pub fn resize(&self, size: (u16, u16)) {
        self.shown.0.lock().unwrap().parser.screen_mut().set_size(cells(size.1), cells(size.0));
        resize(self.master.as_ref().unwrap(), size);
    }

    /// Waits until the screen is as `done` says; gives it as text.
    #[track_caller]
    pub fn wait(&self, what: &str, done: impl Fn(&str) -> bool) -> String {
        let until = Instant::now() + DEADLINE;
        let (shown, changed) = &*self.shown;
        let mut shown = shown.lock().unwrap();
        loop {
            let text = shown.parser.screen().contents();
            if done(&text) {
                return text;
            }
            assert!(shown.open, "it ended before it showed {what}:\n{text}");
            let left = until.checked_duration_since(Instant::now());
            let left = left.unwrap_or_else(|| panic!("{what} was not shown in time:\n{text}"));
            shown = changed.wait_timeout(shown, left).unwrap().0;
        }
    }

    /// Waits until `words` are on the screen, wherever the line is broken.
    #[track_caller]
    pub fn shows(&self, words: &str) -> String {
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        self.wait(words, |text| flat(text).contains(words))
    }

    /// Takes nothing from the program any more, or goes on.
    pub fn stall(&self, stalled: bool) {
        self.shown.0.lock().unwrap().stalled = stalled;
    }

    /// Everything that was written to the terminal.
    pub fn raw(&self) -> Vec<u8> {
        self.shown.0.lock().unwrap().raw.clone()
    }

    /// True while the program has the second screen.
    pub fn is_taken(&self) -> bool {
        self.shown.0.lock().unwrap().parser.screen().alternate_screen()
    }

    /// Sends a signal.
    pub fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }

    /// Closes the terminal, as a dropped connection does.
    pub fn hang_up(&mut self) {
        self.master = None;
        let _ = self.reader.take().map(JoinHandle::join);
    }

    /// Waits for the end; gives the exit code and what is on the first screen then.
    #[track_caller]
    pub fn end(&mut self) -> (Option<i32>, String) {
        let status = wait_for_end(&mut self.child, "the workbench");
        if self.master.is_some() {
            // The last slave is closed: the reader comes to its end by itself.
            let _ = self.reader.take().map(JoinHandle::join);
        }
        let text = self.shown.0.lock().unwrap().parser.screen().contents();
        (status.code(), text)
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        self.hang_up();
    }
}

fn cells(count: u16) -> NonZero<u16> {
    NonZero::new(count).unwrap()
}

fn resize(master: &OwnedFd, (columns, rows): (u16, u16)) {
    let size = Winsize { ws_row: rows, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
    tcsetwinsize(master, size).unwrap();
}

/// Takes what has been written; false once nobody is there to write.
fn read(master: &OwnedFd, shown: &Shared) -> bool {
    let mut set = [PollFd::new(master, PollFlags::IN)];
    if poll(&mut set, Some(&LOOK_UP)).is_err() || set[0].revents().is_empty() {
        return true;
    }
    let mut bytes = [0; 8192];
    match rustix::io::read(master, &mut bytes) {
        Ok(n) if n > 0 => {
            let mut now = shown.0.lock().unwrap();
            now.parser.process(&bytes[..n]);
            now.bytes += n as u64;
            now.raw.extend(&bytes[..n]);
            drop(now);
            shown.1.notify_all();
            true
        }
        Err(rustix::io::Errno::INTR | rustix::io::Errno::AGAIN) => true,
        _ => false,
    }
}
