//! A small bench in a process of its own.

use crate::home::{Home, Ran, Running, Stream};
use std::time::{Duration, Instant};

/// The bytes that a capture keeps, checks and reads again as one.
pub const BLOCK: usize = 64 * 1024;

/// A bench that is served, its host's home, and what its module holds.
pub struct Served {
    pub home: Home,
    pub port: String,
    pub contents: Vec<u8>,
    pub bench: Running,
}

/// What differs between benches.
pub struct Kind {
    /// Blocks of the module, 64 KiB each.
    pub blocks: usize,
    /// Keys of `[line]`.
    pub line: &'static str,
    /// Keys of `[adapter]`.
    pub adapter: &'static str,
    /// Keys of the bench itself.
    pub bench: &'static str,
}

/// Ready in no time.
pub const INSTANT: Kind = Kind { blocks: 2, line: "pace = \"instant\"", adapter: "", bench: "" };
/// The same under a name that is no bench's: to the host a real board.
pub const REAL_BOARD: Kind = Kind { bench: "board = \"tide board A\"", ..INSTANT };
/// At 1 Mbaud, 0.7 s a block.
pub const REAL: Kind = Kind { blocks: 4, line: "", adapter: "", bench: "" };
/// At 115,200 baud, 6 s a block: time enough to do something in between.
pub const SLOW: Kind = Kind { line: "fastest = 115_200", ..REAL };

impl Served {
    /// Serves a bench of `kind`, full of noise that no encoding makes shorter, on a pseudo-terminal.
    pub fn on_pty(kind: &Kind) -> Self {
        Self::start(kind, &["bench", "bench.toml", "--pty"])
    }

    /// Serves a bench of `kind` at a free TCP port.
    pub fn on_tcp(kind: &Kind) -> Self {
        Self::start(kind, &["bench", "bench.toml", "--tcp", "127.0.0.1:0"])
    }

    fn start(kind: &Kind, args: &[&str]) -> Self {
        let home = Home::new();
        let mut contents = vec![0; kind.blocks * BLOCK];
        fastrand::Rng::with_seed(17).fill(&mut contents);
        home.write("noise.bin", &contents);
        let words = contents.len() / 4;
        home.write("small.toml", sheet(words));
        home.write("bench.toml", bench(kind, words));
        let bench = Running::new(&mut home.bare(args));
        let port = bench.wait_for(Stream::Out, "");
        Self { home, port, contents, bench }
    }

    /// The arguments of a command on this bench.
    pub fn args<'a>(&'a self, command: &[&'a str]) -> Vec<&'a str> {
        let always = ["--port", &self.port, "--sheet", "small.toml", "--specimen", "PT #0001"];
        [command, &always].concat()
    }

    /// Runs a command on this bench.
    pub fn run(&self, command: &[&str]) -> Ran {
        self.home.run(&self.args(command))
    }

    /// Starts a capture with JSON and waits until the words of `blocks` blocks are kept.
    pub fn capture_until(&self, blocks: usize) -> Running {
        let host = self.home.start(&self.args(&["capture", "--json"]));
        host.wait_for_times(Stream::Out, "read-once", blocks);
        host
    }

    /// The unfinished capture is gone on with, agrees, and is what the bench holds.
    #[track_caller]
    pub fn goes_on(&self) -> Ran {
        let ran = self.run(&["capture"]);
        let ran = ran.says(0, &["going on with an unfinished capture: ", "agreed", "0001-001"]);
        assert!(self.home.content("0001-001") == self.contents, "the copy is what was there");
        self.run(&["shelf", "check"]).says(0, &["0001-001: as recorded"]);
        ran
    }
}

fn sheet(words: usize) -> String {
    format!(
        "format = 1\nname = \"PT\"\ntitle = \"small\"\nrail_mv = 3300\naddress_lines = 20\n\
         [[space]]\nname = \"store\"\nkind = \"flash\"\nwidth = 32\nwords = {words}\n\
         select = {{ CS0 = \"low\" }}\ntiming = {{ access_ns = 150 }}\n"
    )
}

fn bench(kind: &Kind, words: usize) -> String {
    let Kind { line, adapter, bench, .. } = kind;
    format!(
        "format = 1\nsheet = \"small.toml\"\nspecimen = \"PT #0001\"\n{bench}\n\
         [adapter]\n{adapter}\n[line]\n{line}\n\
         [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\nwords = {words}\n\
         select = {{ CS0 = \"low\" }}\nfill = \"file\"\nfile = \"noise.bin\"\n"
    )
}

/// Time since a moment, to be compared with how long a thing may take.
pub struct Since(Instant);

impl Since {
    pub fn now() -> Self {
        Self(Instant::now())
    }

    #[track_caller]
    pub fn at_most(&self, seconds: u64, what: &str) {
        let took = self.0.elapsed();
        assert!(took < Duration::from_secs(seconds), "{what} took {took:?}");
    }
}
