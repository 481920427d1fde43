//! The terminal thread: waits, lets the state change, does what it wants done, draws.

use super::burst::burst;
use super::dialogs::Dialog;
use super::draw::draw;
use super::input::{Input, Typed};
use super::keys::Key;
use super::msg::{Effect, Msg};
use super::signals::{Flags, Wake, taken};
use super::state::{Pane, State};
use super::term::{Screen, give_back};
use super::update::update;
use crate::app::workbench::{
    Command, Handle, Watch, image_error, image_lines, port_lines, sheet_error,
};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;
use std::io;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// Between two frames that no key has asked for.
const FRAME: Duration = Duration::from_millis(250);
/// Resizes come in storms; they are waited out.
const CALM: Duration = Duration::from_millis(50);
/// A workbench elsewhere is looked at so often.
const FOLLOW: Duration = Duration::from_secs(1);

/// The rest of a sequence comes within this time, also over a slow link.
const REST: Timespec = Timespec { tv_sec: 0, tv_nsec: 30_000_000 };
const AT_ONCE: Timespec = Timespec { tv_sec: 0, tv_nsec: 0 };
/// The pieces of a paste follow each other within this time, and no two keys that were typed.
const PIECES: Timespec = Timespec { tv_sec: 0, tv_nsec: 10_000_000 };
/// After so long a pause half a sequence is given up.
const PAUSE: Duration = Duration::from_millis(100);

/// Without a screen, whether the core has ended is looked at so often.
const HEADLESS: Timespec = Timespec { tv_sec: 0, tv_nsec: 250_000_000 };

/// How it ended.
pub enum End {
    /// By a key.
    Asked,
    /// By a signal.
    Signal(u8),
    /// The terminal is gone.
    HungUp,
}

/// The terminal thread.
pub struct Shell {
    pub screen: Screen,
    pub state: State,
    pub handle: Handle,
    pub wake: Wake,
    pub signals: Wake,
    pub flags: Flags,
    /// Of the port that was chosen.
    pub watch: Watch,
    /// Where images are.
    shelf: PathBuf,
    frame: Instant,
    /// The window had another size for a moment at least: nothing on it can be counted on.
    resized: bool,
    /// When to draw, if something has changed.
    due: Option<Instant>,
    /// The core has something new that was not looked at.
    news: bool,
    follow_at: Option<Instant>,
    typing: Input,
    /// When something was typed last.
    typed_at: Option<Instant>,
    signal: Option<u8>,
}

/// What a wait has brought.
#[derive(Default)]
#[expect(clippy::struct_excessive_bools, reason = "each of them can come with any other")]
struct Woken {
    input: bool,
    gone: bool,
    signal: bool,
    news: bool,
}

impl Shell {
    /// Everything that the terminal thread has.
    pub fn new(
        screen: Screen,
        state: State,
        handle: Handle,
        (wake, signals): (Wake, Wake),
        flags: Flags,
        (watch, shelf): (Watch, PathBuf),
    ) -> Self {
        let frame = state.now;
        Self {
            screen,
            state,
            handle,
            wake,
            signals,
            flags,
            watch,
            shelf,
            frame,
            resized: false,
            due: Some(frame),
            news: true,
            follow_at: None,
            typing: Input::default(),
            typed_at: None,
            signal: None,
        }
    }

    /// Runs until the end. The terminal is not given back.
    pub fn run(&mut self) -> io::Result<End> {
        loop {
            self.state.now = Instant::now();
            if self.news && (self.state.leaving || self.frame + FRAME <= self.state.now) {
                self.look();
            }
            if self.due.is_some_and(|due| due <= self.state.now) {
                self.paint()?;
            }
            if self.state.leaving && self.state.core.over {
                return Ok(self.signal.map_or(End::Asked, End::Signal));
            }
            let woken = self.wait()?;
            self.msg(Msg::Tick(Instant::now()))?;
            if woken.signal {
                self.signals.heard();
                self.signalled()?;
            }
            if woken.gone || taken(&self.flags.hup) {
                return Ok(End::HungUp);
            }
            if woken.news {
                self.wake.heard();
                self.news = true;
            }
            if woken.input && !self.input()? {
                return Ok(End::HungUp);
            }
            self.follow()?;
        }
    }

    fn wait(&self) -> io::Result<Woken> {
        let now = self.state.now;
        // When the leave to write shows another number, the screen changes by itself.
        let times = [
            self.due,
            self.news.then_some(self.frame + FRAME),
            self.state.changes_at(),
            self.follow_at,
        ];
        let until = times.into_iter().flatten().min();
        let time = until.map(|until| {
            let left = until.saturating_duration_since(now);
            // Rounded up: to wake a moment early is to wake twice.
            let nanos = left.as_nanos().div_ceil(1_000_000) * 1_000_000;
            Timespec {
                tv_sec: (nanos / 1_000_000_000) as i64,
                tv_nsec: (nanos % 1_000_000_000) as i64,
            }
        });
        let stdin = rustix::stdio::stdin();
        let mut set = [
            PollFd::from_borrowed_fd(stdin, PollFlags::IN),
            PollFd::new(&self.signals.read, PollFlags::IN),
            PollFd::new(&self.wake.read, PollFlags::IN),
        ];
        match poll(&mut set, time.as_ref()) {
            Ok(_) => {}
            Err(Errno::INTR) => return Ok(Woken::default()),
            Err(error) => return Err(error.into()),
        }
        let gone = PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL;
        Ok(Woken {
            input: set[0].revents().contains(PollFlags::IN),
            gone: set[0].revents().intersects(gone),
            signal: !set[1].revents().is_empty(),
            news: !set[2].revents().is_empty(),
        })
    }

    fn msg(&mut self, msg: Msg) -> io::Result<()> {
        let changes = !matches!(msg, Msg::Tick(_));
        let before = self.state.leave_left();
        let effects = update(&mut self.state, msg);
        if changes || before != self.state.leave_left() {
            self.due = Some(self.due.map_or(self.state.now, |due| due.min(self.state.now)));
        }
        effects.into_iter().try_for_each(|effect| self.effect(effect))
    }

    fn effect(&mut self, effect: Effect) -> io::Result<()> {
        match effect {
            Effect::Send(command) => {
                if let Command::Connect(port, _) = &command {
                    self.watch = self.watch.of(&port.to_string());
                }
                self.handle.send(command);
            }
            Effect::Stop => self.handle.stop(),
            Effect::ListPorts => return self.msg(Msg::Ports(port_lines())),
            Effect::ListImages => {
                let core = &self.state.core;
                let specimen = core.specimen.as_deref().unwrap_or_default();
                let images = image_lines(&self.shelf, specimen, core.simulated);
                return self.msg(Msg::Images(images));
            }
            Effect::FindImage(name) => {
                let core = &self.state.core;
                let specimen = core.specimen.as_deref().unwrap_or_default();
                let wrong = image_error(&self.shelf, specimen, core.simulated, &name);
                return self.msg(Msg::Image(name, wrong));
            }
            Effect::FindSheet(name) => {
                let wrong = sheet_error(&name);
                return self.msg(Msg::Sheet(name, wrong));
            }
            Effect::Redraw => self.screen.clear()?,
            Effect::Suspend => {
                give_back();
                // The whole group, as the terminal's own key would.
                let _ = rustix::process::kill_current_process_group(rustix::process::Signal::TSTP);
                // Here again: continued, or never stopped, where no shell waits for it.
                if !self.continued() {
                    self.state.notice = Some("no shell is there to go back to".into());
                }
                self.screen.again()?;
                self.resized()?;
            }
            Effect::StopElsewhere => {
                self.watch.stop();
            }
        }
        Ok(())
    }

    /// Looks at what the core has.
    fn look(&mut self) {
        self.news = false;
        let (snapshot, items) = self.handle.look();
        // What is sent from here goes to the core; nothing that can fail.
        let _ = self.msg(Msg::Core(Box::new(snapshot), items));
    }

    fn paint(&mut self) -> io::Result<()> {
        if let Some((space, bits, first, count)) = self.state.wanted_page() {
            let words = self.handle.words(space, bits, first, count);
            update(&mut self.state, Msg::Page(words));
        }
        if std::mem::take(&mut self.resized) {
            self.screen.clear()?;
        }
        let state = &self.state;
        self.screen.draw(|frame| draw(state, frame))?;
        self.frame = self.state.now;
        self.due = None;
        Ok(())
    }

    fn signalled(&mut self) -> io::Result<()> {
        if taken(&self.flags.cont) {
            self.screen.again()?;
            self.resized()?;
        }
        if taken(&self.flags.winch) {
            self.resized()?;
            self.due = Some(self.state.now + CALM);
        }
        let (term, int) = (taken(&self.flags.term), taken(&self.flags.int));
        if term || int {
            self.signal = Some(128 + if term { 15 } else { 2 });
            return self.msg(Msg::End);
        }
        Ok(())
    }

    /// True if the process was stopped and has been continued; the signal may be a moment late.
    fn continued(&self) -> bool {
        (0..20).any(|n| {
            if n > 0 {
                std::thread::sleep(Duration::from_millis(5));
            }
            taken(&self.flags.cont)
        })
    }

    fn resized(&mut self) -> io::Result<()> {
        self.resized = true;
        let (width, height) = crossterm::terminal::size()?;
        self.msg(Msg::Resize(width, height))
    }

    /// Takes all that has been typed; false if the terminal is gone.
    fn input(&mut self) -> io::Result<bool> {
        let mut bytes = [0; 4096];
        let fresh = self.typed_at.is_none_or(|at| at + PAUSE <= self.state.now);
        self.typed_at = Some(self.state.now);
        let mut typed = Vec::new();
        // Bounded, so that a flood does not keep everything else waiting.
        for n in 0..16 {
            match rustix::io::read(rustix::stdio::stdin(), &mut bytes) {
                Ok(0) | Err(Errno::IO) => return Ok(false),
                Ok(count) => typed.extend(self.typing.take(&bytes[..count], fresh && n == 0)),
                Err(Errno::INTR | Errno::AGAIN) => {}
                Err(error) => return Err(error.into()),
            }
            let rest = if self.typing.waits() {
                &REST
            } else if self.state.dialog.as_ref().is_some_and(Dialog::allows) {
                // What is typed here allows something: a paste must not pass for it in pieces.
                &PIECES
            } else {
                &AT_ONCE
            };
            let mut set = [PollFd::from_borrowed_fd(rustix::stdio::stdin(), PollFlags::IN)];
            if !poll(&mut set, Some(rest)).is_ok_and(|ready| ready > 0) {
                break;
            }
        }
        typed.extend(self.typing.settle());
        let mut keys = Vec::new();
        for one in typed {
            match one {
                Typed::Key(key) => keys.push(key),
                Typed::Paste(text) => {
                    self.typed(std::mem::take(&mut keys))?;
                    self.msg(Msg::Paste(text))?;
                }
            }
        }
        self.typed(keys)?;
        Ok(true)
    }

    fn typed(&mut self, keys: Vec<Key>) -> io::Result<()> {
        let writes = self.state.dialog.is_some() || self.state.focus == Pane::Console;
        burst(keys, writes).into_iter().try_for_each(|msg| self.msg(msg))
    }

    /// Looks at a workbench elsewhere while somebody wants to see it.
    fn follow(&mut self) -> io::Result<()> {
        let now = self.state.now;
        if !self.state.follows() {
            self.follow_at = None;
        } else if self.follow_at.is_none_or(|at| at <= now) {
            self.follow_at = Some(now + FOLLOW);
            return self.msg(Msg::Elsewhere(self.watch.look()));
        }
        Ok(())
    }

    /// Waits for the core without a terminal: neither input nor screen is touched any more.
    pub fn headless(&mut self) {
        self.handle.hung_up();
        loop {
            if self.handle.is_over() {
                return;
            }
            // The core is not asked for news: to call this thread for each would cost more than
            // the transfer.
            let mut set = [PollFd::new(&self.signals.read, PollFlags::IN)];
            let looked = poll(&mut set, Some(&HEADLESS));
            if looked.is_err_and(|error| error != Errno::INTR) {
                return;
            }
            self.signals.heard();
        }
    }
}
