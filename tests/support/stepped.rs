//! The firmware as machine code, where simulated time goes on only when a test says so: no wait of
//! these tests depends on a clock or on how busy this computer is.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::avr::{Built, number};
use super::process::Process;
use buswright::wire::{Fault, FrameReader, Reply, Request, encode_frame_after_idle};
use std::collections::VecDeque;
use std::fmt::Write as _;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::process::{ChildStdin, ChildStdout, Stdio};
use tempfile::TempDir;

/// Longer than any answer of a test may take, in simulated microseconds.
const PATIENCE_US: u64 = 30_000_000;

/// A reply as the host hears it.
#[derive(Clone, Debug)]
pub struct Heard {
    /// The cycle in which its last bit has left.
    pub at: u64,
    /// The tag of its request.
    pub tag: u8,
    /// What it says.
    pub reply: Reply,
}

/// What the lines are at, and the rig's books; the groups are data, address and control.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct State {
    /// The rail's switch is closed, and since which cycle it is as it is.
    pub rail: (bool, u64),
    /// The rail's voltage.
    pub mv: u64,
    /// Lines that are driven.
    pub driven: [u64; 3],
    /// Lines that are pulled up.
    pub pulled: [u64; 3],
    /// The mark line is active.
    pub mark: bool,
    /// Changes of the control lines while the rail was on; words read; words written to the RAM.
    pub strobes: u64,
    /// Words read.
    pub reads: u64,
    /// Words written to the RAM.
    pub writes: u64,
    /// Most cycles that one data or address line was driven alone.
    pub alone: u64,
    /// Most cycles that a line driven alone stood against what it is tied to.
    pub fought_alone: u64,
    /// Bytes said that have not come yet.
    pub coming: u64,
    /// The cycle in which the last byte came to the controller.
    pub came_at: u64,
    /// The cycle in which the controller changed its rate.
    pub rate_changed: u64,
}

/// What the lines were at from a cycle on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// The cycle.
    pub at: u64,
    /// The rail's switch is closed.
    pub rail: bool,
    /// Data lines that are driven.
    pub data: u64,
    /// Address lines that are driven.
    pub address: u64,
    /// Control lines that are driven.
    pub control: u64,
    /// Their levels.
    pub levels: u64,
}

/// The rig in the hands of a test.
pub struct Stepped {
    process: Process,
    orders: Option<ChildStdin>,
    answers: BufReader<ChildStdout>,
    _folder: TempDir,
    clock: u64,
    /// The cycle that it is.
    pub now: u64,
    reader: FrameReader,
    heard: VecDeque<Heard>,
    /// Replies that were passed over while another was waited for.
    pub aside: Vec<Heard>,
    tag: u8,
}

impl Stepped {
    /// Firmware for this clock, a ROM with these contents and so many words of RAM; `None` where a
    /// tool is missing. The controller has started.
    pub fn start(clock: u32, contents: &[u8], ram_words: u32) -> Option<Self> {
        Self::start_at(clock, 250_000, contents, ram_words)
    }

    /// The same, with the rate that the firmware begins with.
    pub fn start_at(clock: u32, rate: u32, contents: &[u8], ram_words: u32) -> Option<Self> {
        let built = Built::ready(clock, rate)?;
        let folder = TempDir::new().unwrap();
        let mut command = built.command(folder.path(), &["--steps"], contents, ram_words, None);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let answers = BufReader::new(child.stdout.take().unwrap());
        let mut new = Self {
            orders: child.stdin.take(),
            process: Process(child),
            answers,
            _folder: folder,
            clock: u64::from(clock),
            now: 0,
            reader: FrameReader::new(2_000),
            heard: VecDeque::new(),
            aside: Vec::new(),
            tag: 0,
        };
        assert_eq!(new.line(), "steps");
        new.pass(30_000);
        Some(new)
    }

    /// Cycles of so many microseconds.
    pub fn cycles(&self, us: u64) -> u64 {
        us * self.clock / 1_000_000
    }

    /// Microseconds since a cycle.
    pub fn us_since(&self, cycle: u64) -> u64 {
        (self.now - cycle) * 1_000_000 / self.clock
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        self.answers.read_line(&mut line).unwrap();
        line.trim_end().to_owned()
    }

    /// Gives the rig an order; what it says to that, but for the bytes that the host hears.
    #[track_caller]
    pub fn order(&mut self, order: &str) -> String {
        writeln!(self.orders.as_mut().unwrap(), "{order}").unwrap();
        let mut said = String::new();
        loop {
            let line = self.line();
            if let Some(now) = line.strip_prefix("now ") {
                self.now = now.parse().unwrap();
                return said;
            }
            if let Some(heard) = line.strip_prefix("heard ") {
                self.take(heard);
                continue;
            }
            assert!(!line.is_empty() && !line.starts_with("wrong"), "{order}: {said}{line}");
            writeln!(said, "{line}").unwrap();
        }
    }

    fn take(&mut self, heard: &str) {
        let (at, hex) = heard.split_once(' ').unwrap();
        let at = at.parse().unwrap();
        let digits = hex.as_bytes().chunks(2).map(|two| str::from_utf8(two).unwrap());
        let bytes: Vec<_> = digits.map(|two| u8::from_str_radix(two, 16).unwrap()).collect();
        self.reader.push(&bytes, |body| {
            let (tag, reply) = Reply::decode(body).unwrap().unwrap();
            self.heard.push_back(Heard { at, tag, reply });
        });
    }

    /// Frames that came damaged, as the host counts them.
    pub fn damaged(&self) -> u64 {
        self.reader.counters().damaged
    }

    /// Bytes on their way to the controller.
    pub fn say(&mut self, bytes: &[u8]) {
        // No more than the rig holds.
        for some in bytes.chunks(4_000) {
            let hex = some.iter().fold(String::new(), |all, byte| format!("{all}{byte:02X}"));
            self.order(&format!("say {hex}"));
        }
    }

    /// A request on its way, and its tag.
    pub fn send(&mut self, request: &Request) -> u8 {
        self.tag = self.tag % 250 + 1;
        self.say(&encode_frame_after_idle(&request.encode(self.tag)));
        self.tag
    }

    /// Time goes on.
    pub fn pass(&mut self, us: u64) {
        let cycles = self.cycles(us);
        self.order(&format!("go {cycles}"));
    }

    /// Time goes on until a cycle.
    pub fn pass_to(&mut self, cycle: u64) {
        let cycles = cycle.saturating_sub(self.now);
        self.order(&format!("go {cycles}"));
    }

    /// The next reply that comes within so many microseconds.
    pub fn hear(&mut self, us: u64) -> Option<Heard> {
        let until = self.now + self.cycles(us);
        while self.heard.is_empty() && self.now < until {
            let left = until - self.now;
            self.order(&format!("hear {left}"));
        }
        self.heard.pop_front()
    }

    /// The answer to this tag, BUSY passed over; other replies are laid aside.
    #[track_caller]
    pub fn answer(&mut self, tag: u8) -> Heard {
        let until = self.now + self.cycles(PATIENCE_US);
        loop {
            let left = (until.saturating_sub(self.now)) * 1_000_000 / self.clock;
            let heard = self.hear(left).unwrap_or_else(|| panic!("no answer to {tag}"));
            if heard.tag == tag && !matches!(heard.reply, Reply::Busy(_)) {
                return heard;
            }
            self.aside.push(heard);
        }
    }

    /// A request and its answer.
    #[track_caller]
    pub fn ask(&mut self, request: &Request) -> Reply {
        let tag = self.send(request);
        self.answer(tag).reply
    }

    /// A request that must be refused.
    #[track_caller]
    pub fn refused(&mut self, request: &Request) -> Fault {
        match self.ask(request) {
            Reply::Fault(fault) => fault,
            other => panic!("{request:?} got {other:?}"),
        }
    }

    /// What the lines are at.
    #[track_caller]
    pub fn state(&mut self) -> State {
        let said = self.order("state");
        let groups = [0, 1, 2].map(|group| {
            let (_, rest) = said.split_once(&format!("group {group} ")).unwrap();
            (number(rest, "driven "), number(rest, "pulled "))
        });
        let of = |key: &str| number(&said, key);
        State {
            rail: (of("rail ") == 1, of("since ")),
            mv: of("mv "),
            driven: groups.map(|group| group.0),
            pulled: groups.map(|group| group.1),
            mark: of("mark ") == 1,
            strobes: of("strobes "),
            reads: of("reads "),
            writes: of("writes "),
            alone: of("alone "),
            fought_alone: of("fought-alone "),
            coming: of("coming "),
            came_at: of("came-at "),
            rate_changed: of("rate-changed "),
        }
    }

    /// What the lines were at, the last 2,048 times that it changed.
    pub fn moves(&mut self) -> Vec<Move> {
        let said = self.order("moves");
        let each = said.lines().map(|line| Move {
            at: number(line, "move "),
            rail: number(line, "rail ") == 1,
            data: number(line, "data "),
            address: number(line, "address "),
            control: number(line, "control "),
            levels: number(line, "levels "),
        });
        each.collect()
    }

    /// A word of the RAM.
    pub fn ram(&mut self, word: u32) -> u32 {
        let said = self.order(&format!("ram {word}"));
        u32::try_from(number(&said, "word ")).unwrap()
    }

    /// Ends it: nothing may have gone against the times of the module or of the line, other than
    /// what this test has caused.
    #[track_caller]
    pub fn end(mut self) {
        drop(self.orders.take());
        let mut books = String::new();
        self.process.0.stderr.take().unwrap().read_to_string(&mut books).unwrap();
        assert!(books.contains("violations 0:"), "{books}");
        assert!(books.contains("overwritten 0"), "{books}");
    }
}
