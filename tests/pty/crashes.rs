//! Writes that are cut off, the bench in a process of its own: the host is killed or its cable is
//! out at a byte of the line, the adapter restarts or the supply goes at a bus cycle. Afterwards
//! `resume` brings the module to what the plan says.

use crate::home::{Home, Ran, Running, Stream};
use crate::relay::Relay;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// Blows in a run of all tests; `BUSWRIGHT_BLOWS` asks for another number.
const BLOWS: usize = 80;
/// Benches at a time: they wait for each other's time-outs more than they work.
const AT_A_TIME: usize = 16;
const SEED: u64 = 0x51AC_7C0D;
/// Two small chips side by side: ten sectors.
const WORDS: usize = 0x8000;
const RECORDS: usize = 0x400;
/// Chips that take a hundredth of their typical times: else nearly all cycles are polls of an erase.
const PACE: u32 = 1;
/// In bytes: a zone that stays as it is, in a sector that is erased.
const KEPT: std::ops::Range<usize> = 0x7E00 * 4..0x7F00 * 4;

/// What happens in the middle of a write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Blow {
    Kill,
    Cable,
    Restart,
    Supply,
    /// Nothing gets through for a while; the adapter stays as it is.
    Silence,
}

const ALL: [Blow; 5] = [Blow::Kill, Blow::Cable, Blow::Restart, Blow::Supply, Blow::Silence];

/// A chip family, a home with an agreed copy and a plan, and how much an undisturbed write takes.
struct Case {
    chip: &'static str,
    home: Home,
    before: Vec<u8>,
    target: Vec<u8>,
    code: String,
    /// Bytes from the host, and bus cycles of scripts, until it is done; a little more.
    bytes: u64,
    cycles: u64,
}

/// Longer than any answer takes, shorter than the dead-man waits.
const SILENCE: Duration = Duration::from_millis(1_500);

/// What came of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum After {
    /// The write had ended.
    Done,
    /// Nothing had been begun; it was written anew.
    Anew,
    /// `resume` brought it to its end.
    Resumed,
    /// It came to its end by itself: the run chain told what was done.
    WentOn,
}

fn noise(bytes: usize, seed: u64) -> Vec<u8> {
    let mut all = vec![0; bytes];
    fastrand::Rng::with_seed(seed).fill(&mut all);
    all
}

fn sheet(family: &str) -> String {
    format!(
        "format = 1\nname = \"PC\"\nrail_mv = 3300\naddress_lines = 20\n[[space]]\nname = \"store\"\n\
         kind = \"flash\"\nfamily = \"{family}\"\nwidth = 32\nwords = {WORDS}\nselect = {{ CS0 = \
         \"low\" }}\nchips = [{{ ref = \"U1\", lane = \"D0-D15\" }}, {{ ref = \"U2\", lane = \
         \"D16-D31\" }}]\n[[space]]\nname = \"records\"\nkind = \"ram\"\nwidth = 32\nwords = \
         {RECORDS}\nselect = {{ CS1 = \"low\" }}\n[[zone]]\nspace = \"store\"\nname = \
         \"constants\"\nrange = \"0x7E00+0x100\"\nkeep = true\n"
    )
}

fn bench(chip: &str, mishap: &str) -> String {
    format!(
        "format = 1\nsheet = \"small.toml\"\nspecimen = \"PC #0001\"\n{mishap}[[memory]]\nkind = \
         \"flash\"\nname = \"store\"\nwidth = 32\nwords = {WORDS}\nselect = {{ CS0 = \"low\" }}\n\
         chip = \"{chip}\"\nfill = \"file\"\nfile = \"before.bin\"\n[[memory]]\nkind = \"ram\"\n\
         name = \"records\"\nwidth = 32\nwords = {RECORDS}\nselect = {{ CS1 = \"low\" }}\n\
         battery = true\nfill = \"file\"\nfile = \"records.bin\"\n[[chip_fault]]\nmemory = \
         \"store\"\nkind = \"pace\"\npercent = {PACE}\n"
    )
}

/// A line without pace, and what happens to this bench.
fn mishap(blow: Option<(Blow, u64)>) -> String {
    let line = "[line]\npace = \"instant\"\n";
    match blow {
        Some((Blow::Restart, at)) => format!("[adapter]\nrestarts_at_cycle = {at}\n{line}"),
        Some((Blow::Supply, at)) => format!("[rail]\nsags_at_cycle = {at}\nsag_mv = 0\n{line}"),
        _ => line.to_owned(),
    }
}

/// Whole lines of the journals on a home's shelf.
fn journalled(home: &Home) -> usize {
    let folders = fs::read_dir(home.shelf().join("journals")).into_iter().flatten().flatten();
    let files = folders.flat_map(|folder| fs::read_dir(folder.path()).into_iter().flatten());
    let texts = files.flatten().filter_map(|file| fs::read_to_string(file.path()).ok());
    texts.map(|text| text.matches('\n').count()).sum()
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy_folder(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), to).unwrap();
        }
    }
}

/// A bench of a home, the relay before it, and commands to it.
struct Bench<'a> {
    home: &'a Home,
    relay: Relay,
    _running: Running,
}

impl<'a> Bench<'a> {
    fn start(home: &'a Home, chip: &str, blow: Option<(Blow, u64)>) -> Self {
        home.write("bench.toml", bench(chip, &mishap(blow)));
        let args = ["bench", "bench.toml", "--tcp", "127.0.0.1:0"];
        let running = Running::new(&mut home.bare(&args));
        let port = running.wait_for(Stream::Out, "");
        Self { home, relay: Relay::to(port.strip_prefix("tcp:").unwrap()), _running: running }
    }

    fn command(&self, words: &[&str]) -> Command {
        let port = format!("tcp:{}", self.relay.address);
        let always = ["--port", &port, "--sheet", "small.toml", "--specimen", "PC #0001"];
        self.home.command(&[words, &always].concat())
    }

    fn run(&self, words: &[&str]) -> Ran {
        Running::new(&mut self.command(words)).finish()
    }

    fn write(&self, code: &str) -> Running {
        Running::new(&mut self.command(&["write", code, "--confirm", "PC #0001"]))
    }
}

impl Case {
    fn new(chip: &'static str, family: &str) -> Self {
        let home = Home::new();
        let mut before = noise(WORDS * 4, 3);
        before[..0x4000].fill(0xFF);
        // A sector that is programmed only, some that are erased, one of them with the kept zone.
        let mut target = before.clone();
        target[0x1000..0x1800].fill(0x5A);
        for range in [0x8100..0x8200, 0x1_0000..0x1_8000, 0x1_F000..0x1_F800] {
            target[range.clone()].copy_from_slice(&noise(range.len(), range.start as u64));
        }
        target[KEPT].copy_from_slice(&before[KEPT]);
        let mut image = target.clone();
        image[KEPT].fill(0x11);
        home.write("small.toml", sheet(family));
        home.write("before.bin", &before);
        home.write("target.bin", &target);
        home.write("records.bin", noise(RECORDS * 4, 4));
        home.write("image.bin", image);
        let bench = Bench::start(&home, chip, None);
        bench.run(&["capture"]).says(0, &["agreed"]);
        let planned = bench.run(&["plan", "image.bin", "--space", "store", "--json"]).says(0, &[]);
        let code = planned.events().last().unwrap()["report"]["code"].as_str().unwrap().to_owned();
        drop(bench);
        let mut case = Self { chip, home, before, target, code, bytes: 0, cycles: 0 };
        let home = case.fresh();
        let bench = Bench::start(&home, chip, None);
        bench.relay.forget();
        bench.write(&case.code).finish().says(0, &["holds what plan"]);
        case.bytes = bench.relay.passed();
        case.target_is_there(&bench);
        case.cycles = case.cycles_of_a_write();
        println!("{chip}: {} bytes from the host, {} cycles", case.bytes, case.cycles);
        case
    }

    /// Bus cycles of scripts in an undisturbed write, to an eighth: one more is too late for a blow.
    fn cycles_of_a_write(&self) -> u64 {
        let (mut least, mut most) = (1, 1 << 24);
        while most - least > most / 8 {
            let at = u64::midpoint(least, most);
            let home = self.fresh();
            let bench = Bench::start(&home, self.chip, Some((Blow::Restart, at)));
            if bench.write(&self.code).finish().code == 0 {
                most = at;
            } else {
                least = at;
            }
        }
        most
    }

    /// The home as it was before the write.
    fn fresh(&self) -> Home {
        let home = Home::new();
        copy_folder(&self.home.path("."), &home.path("."));
        home
    }

    #[track_caller]
    fn target_is_there(&self, bench: &Bench) {
        bench.run(&["verify", "target.bin", "--space", "store"]).says(0, &["equals"]);
        bench.run(&["verify", "records.bin", "--space", "records"]).says(0, &["equals"]);
        assert!(bench.home.content("0001-001")[..self.before.len()] == self.before, "the backup");
        bench.home.run(&["shelf", "check"]).says(0, &["as recorded"]);
        assert!(self.target[KEPT] == self.before[KEPT]);
    }

    /// Writes with a blow at so many bytes or cycles; what came of it.
    #[track_caller]
    fn blown(&self, blow: Blow, at: u64) -> After {
        let home = self.fresh();
        let bench = Bench::start(&home, self.chip, Some((blow, at)));
        match blow {
            Blow::Kill => {
                let host = bench.write(&self.code);
                bench.relay.wait_for(at, || host.has_ended());
                host.kill();
            }
            Blow::Cable => {
                bench.relay.cut_at(at);
                bench.write(&self.code).finish();
            }
            Blow::Silence => {
                bench.relay.mute_at(at, SILENCE);
                let ran = bench.write(&self.code).finish();
                if ran.code == 0 {
                    self.target_is_there(&bench);
                    return After::WentOn;
                }
            }
            Blow::Restart | Blow::Supply => {
                if bench.write(&self.code).finish().code == 0 {
                    // It is still to come: in the next look at the module.
                    bench.run(&["resume"]);
                }
            }
        }
        self.gone_on_with(&bench, &format!("{} {blow:?} at {at}", self.chip))
    }

    /// Kills a write once its journal has so many lines; what came of it.
    #[track_caller]
    fn killed_at_step(&self, step: usize) -> After {
        let home = self.fresh();
        let bench = Bench::start(&home, self.chip, None);
        let host = bench.write(&self.code);
        while !host.has_ended() && journalled(&home) < step {
            std::thread::yield_now();
        }
        host.kill();
        self.gone_on_with(&bench, &format!("{} killed at step {step}", self.chip))
    }

    #[track_caller]
    fn gone_on_with(&self, bench: &Bench, what: &str) -> After {
        bench.relay.forget();
        let resumed = bench.run(&["resume"]);
        let after = match resumed.code {
            0 => After::Resumed,
            2 => {
                // Nothing was begun, or it had come to its end.
                let again = bench.write(&self.code).finish();
                assert!([0, 4].contains(&again.code), "{what}: {again}");
                if again.code == 0 { After::Anew } else { After::Done }
            }
            _ => panic!("{what}: {resumed}"),
        };
        self.target_is_there(bench);
        after
    }
}

#[test]
fn real_programs_and_benches_are_cut_off_and_lose_nothing() {
    let blows = std::env::var("BUSWRIGHT_BLOWS").ok().and_then(|n| n.parse().ok());
    let rounds = blows.unwrap_or(BLOWS).div_ceil(AT_A_TIME * ALL.len());
    let cases = [Case::new("SMALL-A", "amd"), Case::new("SMALL-I", "intel")];
    let one = |thread: usize| {
        let case = &cases[thread % cases.len()];
        let mut random = fastrand::Rng::with_seed(SEED ^ thread as u64);
        let mut counts = [[0_usize; 4]; ALL.len()];
        for _ in 0..rounds {
            for blow in ALL {
                let most = match blow {
                    Blow::Restart | Blow::Supply => case.cycles,
                    _ => case.bytes,
                };
                counts[blow as usize][case.blown(blow, random.u64(1..=most)) as usize] += 1;
            }
        }
        counts
    };
    let counts: Vec<_> = std::thread::scope(|scope| {
        let all: Vec<_> = (0..AT_A_TIME).map(|n| scope.spawn(move || one(n))).collect();
        all.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    for blow in ALL {
        let sum = |after: After| -> usize {
            counts.iter().map(|counts| counts[blow as usize][after as usize]).sum()
        };
        let (done, anew, resumed) = (sum(After::Done), sum(After::Anew), sum(After::Resumed));
        let went_on = sum(After::WentOn);
        let all = done + anew + resumed + went_on;
        println!(
            "{blow:?}: {all} times, {resumed} resumed, {went_on} went on by themselves, {anew} not \
             begun, {done} had ended"
        );
        let usual = if blow == Blow::Silence { went_on } else { resumed };
        assert!(usual * 2 > all, "{blow:?}: {usual} of {all}");
    }
}

#[test]
fn real_programs_killed_at_every_step_of_the_journal_lose_nothing() {
    let cases = [Case::new("SMALL-A", "amd"), Case::new("SMALL-I", "intel")];
    let next = AtomicUsize::new(0);
    let killed = || {
        let mut resumed = [0_usize; 2];
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            let after = cases[n % 2].killed_at_step(n / 2 + 1);
            if after == After::Done {
                return resumed;
            }
            resumed[n % 2] += 1;
        }
    };
    let resumed = std::thread::scope(|scope| {
        let all: Vec<_> = (0..AT_A_TIME).map(|_| scope.spawn(killed)).collect();
        let counts = all.into_iter().map(|thread| thread.join().unwrap());
        counts.fold([0, 0], |sum, one| [sum[0] + one[0], sum[1] + one[1]])
    });
    println!("killed at {resumed:?} steps of the journal");
    // A beginning, and three lines for each of five sectors.
    assert!(resumed.iter().all(|steps| *steps > 12), "{resumed:?}");
}
