//! The terminal itself: taken over, given back, also after a panic.

use crossterm::cursor::Show;
use crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{execute, queue};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use rustix::fs::{Mode, OFlags};
use rustix::termios::QueueSelector;
use std::io::{self, BufWriter, Stdout, Write, stdout};
use std::mem::ManuallyDrop;

/// One write for a whole frame; a screen of 120x40 takes less.
const BUFFER: usize = 32 * 1024;

/// The screen of the terminal.
pub struct Screen {
    // Dropping it writes, which a terminal that is gone does not bear.
    terminal: ManuallyDrop<Terminal<CrosstermBackend<BufWriter<Stdout>>>>,
}

impl Screen {
    /// Takes the terminal over.
    pub fn enter() -> io::Result<Self> {
        take_over()?;
        let writer = BufWriter::with_capacity(BUFFER, stdout());
        let mut terminal = Terminal::new(CrosstermBackend::new(writer))?;
        terminal.hide_cursor()?;
        let mut screen = Self { terminal: ManuallyDrop::new(terminal) };
        // A terminal without a second screen shows old text otherwise.
        screen.clear()?;
        Ok(screen)
    }

    /// Takes it over once more, after somebody else had it.
    pub fn again(&mut self) -> io::Result<()> {
        take_over()?;
        self.terminal.hide_cursor()?;
        self.clear()
    }

    /// Forgets what is on it. The library's own way would ask the terminal where its cursor is,
    /// and wait two seconds for one that does not answer.
    pub fn clear(&mut self) -> io::Result<()> {
        let size = self.terminal.size()?;
        self.terminal.resize(size.into())
    }

    /// Draws a frame: what has changed is written.
    pub fn draw(&mut self, draw: impl FnOnce(&mut ratatui::Frame)) -> io::Result<()> {
        self.terminal.draw(draw).map(|_| ())
    }
}

fn take_over() -> io::Result<()> {
    // NO_COLOR is our themes' work: the library would write empty codes instead of colours.
    crossterm::style::force_color_output(true);
    enable_raw_mode()?;
    let mut out = stdout();
    queue!(out, EnterAlternateScreen, EnableBracketedPaste)?;
    out.flush()
}

/// Gives the terminal back; errors are of no use to anybody then.
pub fn give_back() {
    let _ = execute!(stdout(), DisableBracketedPaste, LeaveAlternateScreen, Show);
    let _ = disable_raw_mode();
}

/// Gives back a terminal that takes nothing: what it has not taken yet is thrown away, and nothing
/// waits for it.
pub fn give_back_stalled() {
    let _ = rustix::termios::tcflush(rustix::stdio::stdout(), QueueSelector::OFlush);
    let flags = OFlags::WRONLY | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    if let Ok(tty) = rustix::fs::open("/dev/tty", flags, Mode::empty()) {
        let mut text = Vec::new();
        let _ = queue!(text, DisableBracketedPaste, LeaveAlternateScreen, Show);
        let _ = rustix::io::write(&tty, &text);
    }
    let _ = disable_raw_mode();
}

/// A panic of this thread gives the terminal back before it is told. Other threads' panics are
/// caught there and told as the outcome of their job.
pub fn restore_on_panic() {
    let mine = std::thread::current().id();
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if std::thread::current().id() == mine {
            give_back();
            before(info);
        }
    }));
}
