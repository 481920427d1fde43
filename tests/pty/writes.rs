//! The host is killed in the middle of a write, for good; the next one goes on.

use crate::home::{Home, Ran, Running, Stream};
use std::cell::Cell;

/// Two small chips side by side: ten sectors.
const WORDS: usize = 0x8000;
const SECTORS: usize = 10;

struct Bench {
    home: Home,
    port: String,
    images: [Vec<u8>; 2],
    /// The image that the module is to hold next.
    next: Cell<usize>,
    /// Its end would be the end of the bench.
    _running: Running,
}

fn noise(seed: u64) -> Vec<u8> {
    let mut bytes = vec![0; WORDS * 4];
    fastrand::Rng::with_seed(seed).fill(&mut bytes);
    bytes
}

fn reported(ran: &Ran, what: &str) -> String {
    ran.events().last().unwrap()["report"][what].as_str().unwrap().to_owned()
}

impl Bench {
    fn new() -> Self {
        let home = Home::new();
        let images = [noise(1), noise(2)];
        home.write("0.bin", &images[0]);
        home.write("1.bin", &images[1]);
        home.write(
            "small.toml",
            format!(
                "format = 1\nname = \"PW\"\nrail_mv = 3300\naddress_lines = 20\n[[space]]\n\
                 name = \"store\"\nkind = \"flash\"\nfamily = \"amd\"\nwidth = 32\n\
                 words = {WORDS}\nselect = {{ CS0 = \"low\" }}\n\
                 chips = [{{ ref = \"U1\", lane = \"D0-D15\" }}, {{ ref = \"U2\", lane = \
                 \"D16-D31\" }}]\n"
            ),
        );
        home.write(
            "bench.toml",
            format!(
                "format = 1\nsheet = \"small.toml\"\nspecimen = \"PW #0001\"\n[line]\n\
                 pace = \"instant\"\n[[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\n\
                 words = {WORDS}\nselect = {{ CS0 = \"low\" }}\nchip = \"SMALL-A\"\n\
                 fill = \"file\"\nfile = \"0.bin\"\n"
            ),
        );
        let running = Running::new(&mut home.bare(&["bench", "bench.toml", "--pty"]));
        let port = running.wait_for(Stream::Out, "");
        Self { home, port, images, next: Cell::new(1), _running: running }
    }

    fn args<'a>(&'a self, command: &[&'a str]) -> Vec<&'a str> {
        let always = ["--port", &self.port, "--sheet", "small.toml", "--specimen", "PW #0001"];
        [command, &always].concat()
    }

    fn run(&self, command: &[&str]) -> Ran {
        self.home.run(&self.args(command))
    }

    /// The file with what the module is to hold next.
    fn image(&self) -> String {
        format!("{}.bin", self.next.get())
    }

    /// Plans that image; the plan's code.
    fn plan(&self) -> String {
        let ran = self.run(&["plan", &self.image(), "--json"]).says(0, &["\"finished\""]);
        reported(&ran, "code")
    }

    /// Starts the write of a plan, or `resume`, and kills it once `word` was said `times` times.
    fn killed(&self, command: &[&str], word: &str, times: usize) {
        let host = self.home.start(&self.args(&[command, &["--json"]].concat()));
        host.wait_for_times(Stream::Out, word, times);
        host.kill();
    }

    /// `resume` comes to its end, and the module holds the image; the backup is as it was.
    #[track_caller]
    fn comes_to_its_end(&self, backup: &str) {
        self.run(&["resume"]).says(0, &["proven"]);
        assert!(self.home.content(backup) == self.images[1 - self.next.get()], "{backup}");
        self.is_written();
        self.run(&["shelf", "check"]).says(0, &["as recorded"]);
    }

    /// The module holds the image, and the other one is next.
    #[track_caller]
    fn is_written(&self) {
        self.run(&["verify", &self.image()]).says(0, &["equals"]);
        self.next.set(1 - self.next.get());
    }

    /// The module is captured; the capture's number.
    fn capture(&self) -> String {
        let ran = self.run(&["capture", "--json"]).says(0, &["agreed"]);
        reported(&ran, "id")
    }
}

#[test]
fn a_write_that_is_killed_at_any_sector_is_gone_on_with() {
    let bench = Bench::new();
    let erased = "\"erased\"";
    for (word, times) in [(erased, 1), ("\"written\"", SECTORS / 2), (erased, SECTORS)] {
        let backup = bench.capture();
        let code = bench.plan();
        bench.killed(&["write", &code, "--confirm", "PW #0001"], word, times);
        // Nothing new is begun on top of an unfinished write.
        bench.run(&["write", &code, "--confirm", "PW #0001"]).says(4, &["resume"]);
        bench.comes_to_its_end(&backup);
    }
}

#[test]
fn a_write_that_is_killed_again_and_again_comes_to_its_end() {
    let bench = Bench::new();
    let backup = bench.capture();
    let code = bench.plan();
    bench.killed(&["write", &code, "--confirm", "PW #0001"], "checksums before", 1);
    // Nothing was changed yet; there is nothing to resume, and the plan still stands.
    bench.killed(&["write", &code, "--confirm", "PW #0001"], "\"erased\"", 2);
    for _ in 0..4 {
        bench.killed(&["resume"], "\"erased\"", 1);
    }
    bench.killed(&["resume"], "checksums after", 1);
    bench.comes_to_its_end(&backup);
}

/// The command that a line with `word` advises: between back quotes, or behind `next`.
fn advised(said: &str, word: &str) -> String {
    let line = said.lines().find(|line| line.contains(word)).unwrap_or_else(|| panic!("{said}"));
    let rest = &line[line.find("buswright -").unwrap_or_else(|| panic!("{line}"))..];
    rest.split('`').next().unwrap().trim().to_owned()
}

#[test]
fn advised_commands_reach_the_bench_that_they_were_advised_for() {
    let bench = Bench::new();
    let shelf = bench.home.path("a shelf");
    let shelf = shelf.to_str().unwrap();
    let with = |command: &[&str]| {
        let mut all = bench.args(command);
        all.extend(["--shelf", shelf]);
        bench.home.run(&all)
    };
    let planned = with(&["plan", "1.bin"]).says(0, &["next "]);
    let write = advised(&planned.out, "next ");
    let words = ["--port ", &bench.port, "--sheet small.toml", "a shelf\" write "];
    assert!(words.iter().all(|word| write.contains(word)), "{write}");

    // Killed in the middle, after the line was obeyed to the letter.
    let host = Running::new(&mut bench.home.shell(&format!("{write} --json")));
    host.wait_for_times(Stream::Out, "\"erased\"", 2);
    host.kill();
    let warned = with(&["capture"]).says(0, &["is not finished"]);
    let resume = advised(&warned.err, "is not finished");

    // The shelf says so, too, without an adapter.
    for command in [&["list"][..], &["show", "@last"], &["show", "PW #0001"], &["check"]] {
        let asked = [&["shelf"], command, &["--shelf", shelf]].concat();
        let ran = bench.home.run(&asked).says(0, &[]);
        assert!(ran.err.contains("is not finished: `buswright --shelf"), "{ran}");
    }
    let asked = ["shelf", "show", "PW #0001", "--shelf", shelf];
    bench.home.run(&asked).says(0, &["write begun 0001-001 plan "]);

    // The same label in another bench is not the module that is half written.
    let other = ["--port", "sim:bench.toml", "--sheet", "small.toml", "--shelf", shelf];
    bench
        .home
        .run(&[&["resume"][..], &other].concat())
        .says(4, &["was begun at", &bench.port, "and this is sim:bench.toml", "say --port /dev/"])
        .never_says(&["RAIL ON"]);
    Running::new(&mut bench.home.shell(&resume)).finish().says(0, &["proven"]);
    bench.is_written();
}

/// Real kills of a write at random lines of what it tells; `BUSWRIGHT_KILLS` asks for more.
const KILLS: usize = 24;
/// Kills of each write: of itself, and of those that go on with it.
const EACH: usize = 3;
/// Benches at a time: they wait for each other's dead-man more than they work.
const BENCHES: usize = 8;

/// Writes `rounds` times with kills in between; how often something was there to go on with.
fn killed_at_random(seed: u64, rounds: usize) -> usize {
    let bench = Bench::new();
    let mut random = fastrand::Rng::with_seed(seed);
    let mut resumed = 0;
    for _ in 0..rounds {
        let code = bench.plan();
        let write = ["write", &code, "--confirm", "PW #0001"];
        // An undisturbed write of all sectors tells more than this, one that goes on less.
        bench.killed(&write, "\"event\"", random.usize(1..40));
        for _ in 1..EACH {
            let host = bench.home.start(&bench.args(&["resume", "--json"]));
            let line = random.usize(1..6);
            // Where nothing was begun, or all is done, it ends by itself before.
            host.wait_for_times_or_end(Stream::Out, "\"event\"", line);
            host.kill();
        }
        let mut ran = bench.run(&["resume"]);
        if ran.code == 2 {
            ran = bench.run(&write);
            // The kill came after its end.
            assert!([0, 4].contains(&ran.code), "seed {seed}: {ran}");
        } else {
            assert_eq!(ran.code, 0, "seed {seed}: {ran}");
            resumed += 1;
        }
        bench.is_written();
    }
    bench.run(&["shelf", "check"]).says(0, &["as recorded"]);
    resumed
}

#[test]
fn real_programs_killed_at_random_lines_lose_nothing() {
    let kills = std::env::var("BUSWRIGHT_KILLS").ok().and_then(|n| n.parse().ok());
    let rounds = kills.unwrap_or(KILLS).div_ceil(EACH * BENCHES);
    let benches: Vec<_> = (0..BENCHES as u64)
        .map(|seed| std::thread::spawn(move || killed_at_random(seed, rounds)))
        .collect();
    let resumed: usize = benches.into_iter().map(|bench| bench.join().unwrap()).sum();
    let writes = rounds * BENCHES;
    println!("{writes} writes with {} kills, {resumed} gone on with", writes * EACH);
    assert!(resumed * 2 > writes, "{resumed} of {writes}");
}
