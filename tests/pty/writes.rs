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

    /// Plans the other image; the plan's code.
    fn plan(&self) -> String {
        let image = format!("{}.bin", self.next.get());
        let ran = self.run(&["plan", &image, "--json"]).says(0, &["\"finished\""]);
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
        let image = format!("{}.bin", self.next.get());
        self.run(&["verify", &image]).says(0, &["equals"]);
        assert!(self.home.content(backup) == self.images[1 - self.next.get()], "{backup}");
        self.run(&["shelf", "check"]).says(0, &["as recorded"]);
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
