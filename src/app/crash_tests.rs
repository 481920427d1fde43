//! Writes that are cut off: the host is killed, the cable drops, the adapter restarts, the supply
//! goes, at every step of the journal and at random times. Afterwards `resume` brings the module
//! to what the plan says, or names the sector; backup, kept zones and RAM are as they were.

use super::write_job_tests::Workshop;
use super::{Job, Outcome, SimPort, WriteOptions};
use crate::bus::{Millivolts, Nanos};
use crate::link::{Port, PortLost, Transmit};
use crate::shelf::{MemDisk, Shelf, Tear};
use crate::sim::{Bench, BenchDescription, Event, FrameFaults};
use std::path::Path;
use std::sync::Arc;

/// Random times that are tried; `BUSWRIGHT_CRASHES` asks for another number.
const TIMES: u64 = 1_000;
/// What passes before each job, so that the adapter is at its reset rate.
const IDLE: Nanos = super::write_job_tests::IDLE;
const SEED: u64 = 0x7E1D_E5EA;

/// What happens in the middle of a write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Blow {
    /// The host's process is gone.
    Kill,
    /// The cable is out; the process hears of it.
    Cable,
    /// The adapter restarts.
    Reset,
    /// The module's supply goes.
    Supply,
}

const BLOWS: [Blow; 4] = [Blow::Kill, Blow::Cable, Blow::Reset, Blow::Supply];

/// A port that ends at a time, or with the disk of the same process.
pub(super) struct Cut<'a> {
    pub(super) port: &'a mut dyn Port,
    pub(super) at: Option<Nanos>,
    pub(super) disk: Arc<MemDisk>,
}

impl Cut<'_> {
    fn over(&self) -> Result<(), PortLost> {
        let late = self.at.is_some_and(|at| self.port.now() >= at);
        if late || self.disk.is_dead() { Err(PortLost) } else { Ok(()) }
    }
}

impl Port for Cut<'_> {
    fn now(&self) -> Nanos {
        self.port.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.over()?;
        self.port.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        self.over()?;
        let until = match (until, self.at) {
            (Some(until), Some(at)) => Some(until.min(at)),
            (until, at) => until.or(at),
        };
        self.port.wait(until, into)?;
        self.over()
    }
}

/// A module with two small chips and battery RAM, planned and not written yet.
pub(super) struct Case {
    pub(super) description: BenchDescription,
    sheet: tempfile::NamedTempFile,
    disk: MemDisk,
    pub(super) before: Vec<u8>,
    records: Vec<u8>,
    pub(super) target: Vec<u8>,
    kept: std::ops::Range<usize>,
    pub(super) code: String,
    /// How long the write takes, from the first byte.
    pub(super) lasts: Nanos,
    /// What each chip's books say of it.
    books: Vec<(u64, Vec<u32>)>,
}

/// Words programmed and erases of each chip, which saw nothing that it does not allow.
fn books(shop: &Workshop) -> Vec<(u64, Vec<u32>)> {
    let chips = shop.port.bench().adapter().socket().chips("store");
    let of = |books: &crate::sim::ChipBooks| {
        assert!(books.violations.is_empty(), "{:?}", books.violations);
        (books.programs, books.erases.clone())
    };
    chips.iter().map(|chip| of(chip.books())).collect()
}

fn sheet(family: &str) -> String {
    format!(
        "format = 1\nname = \"TG-7\"\nrail_mv = 3300\naddress_lines = 15\n\n[[space]]\nname = \
         \"store\"\nkind = \"flash\"\nwidth = 32\nwords = 0x8000\nselect = {{ CS0 = \"low\" }}\n\
         family = \"{family}\"\nchips = [{{ ref = \"U1\", lane = \"D0-D15\" }}, {{ ref = \"U2\", \
         lane = \"D16-D31\" }}]\ntiming = {{ access_ns = 150 }}\n\n[[space]]\nname = \"records\"\n\
         kind = \"ram\"\nwidth = 32\nwords = 0x400\nselect = {{ CS1 = \"low\" }}\nchips = [{{ ref \
         = \"U3\", lane = \"D0-D15\" }}, {{ ref = \"U4\", lane = \"D16-D31\" }}]\ntiming = {{ \
         access_ns = 100 }}\n\n[[zone]]\nspace = \"store\"\nname = \"constants\"\nrange = \
         \"0x7E00+0x100\"\nkeep = true\n"
    )
}

fn bench(chip: &str) -> BenchDescription {
    let tg7 = include_str!("../sim/benches/tg-7.toml");
    let text = tg7
        .replace("words = 0x80000", "words = 0x8000")
        .replace("words = 0x10000", "words = 0x400")
        .replace("S29AL008J", chip);
    BenchDescription::parse("small.toml", &text).unwrap()
}

impl Case {
    pub(super) fn new(chip: &str, family: &str) -> Self {
        let mut description = bench(chip);
        let sheet_file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(sheet_file.path(), sheet(family)).unwrap();
        let before: Vec<u8> = (0..0x2_0000_u32)
            .map(|at| if at < 0x4000 { 0xFF } else { (at.wrapping_mul(0x9E37_79B1) >> 13) as u8 })
            .collect();
        description.set_contents("store", before.clone()).unwrap();
        let mut shop = Workshop::of(description.clone());
        shop.wanted.sheet = Some(sheet_file.path().to_string_lossy().into_owned());
        let records = shop.contents("records");
        let mut target = before.clone();
        // A blank sector is programmed only, others are erased; one of them holds the kept zone.
        target[0x1000..0x1800].fill(0x5A);
        for range in [0x8100..0x8200, 0x1_0000..0x1_8000, 0x1_F000..0x1_F800] {
            target[range].iter_mut().for_each(|byte| *byte = byte.wrapping_mul(7) ^ 0x33);
        }
        let kept = 0x7E00 * 4..0x7F00 * 4;
        target[kept.clone()].copy_from_slice(&before[kept.clone()]);
        let mut image = target.clone();
        image[kept.clone()].fill(0x11);
        let code = shop.planned(&image, "store");
        let disk = shop.disk.copy();
        let begun = shop.port.now();
        let outcome = shop.written(&code);
        assert_eq!(outcome.code, 0, "{}", outcome.text);
        assert!(shop.contents("store") == target, "an undisturbed write is not as planned");
        let lasts = shop.port.now().since(begun);
        let (sheet, books) = (sheet_file, books(&shop));
        Self { description, sheet, disk, before, records, target, kept, code, lasts, books }
    }

    pub(super) fn shop(&self) -> Workshop {
        self.shop_of(self.description.clone())
    }

    /// The same with another bench.
    pub(super) fn shop_of(&self, description: BenchDescription) -> Workshop {
        let mut shop = Workshop::of(description);
        shop.disk = Arc::new(self.disk.copy());
        shop.wanted.sheet = Some(self.sheet.path().to_string_lossy().into_owned());
        shop
    }

    /// Writes with a blow at `at`, or at operation `op` of the disk; what comes of it afterwards.
    fn blown(&self, blow: Blow, at: Option<Nanos>, op: Option<(u64, Tear)>) -> After {
        let mut shop = self.shop();
        let what = format!("{blow:?} at {at:?}, disk operation {op:?}");
        let at = at.map(|at| shop.port.now() + at);
        let mut cut = None;
        match (blow, at) {
            (Blow::Reset, Some(at)) => shop.port.bench_mut().at(at, Event::Reset),
            (Blow::Supply, Some(at)) => shop.port.bench_mut().at(at, Event::Sag(Millivolts(0))),
            (_, at) => cut = at,
        }
        if let Some((op, tear)) = op {
            shop.disk.fail_at(op, tear);
        }
        let plan = WriteOptions::Plan {
            code: self.code.clone(),
            confirm: shop.description.specimen.clone(),
        };
        let first = shop.cut_off(&Job::Write(plan), cut);
        let came = shop.disk.restart(false);
        if op.is_some() && !came {
            assert_eq!(first.code, 0, "{what}: {}", first.text);
            return After::NotHit;
        }
        // The adapter's dead-man has long switched the rail off when somebody comes back.
        assert!(self.is_sound(&mut shop), "{what}: kept zone, RAM or backup was touched");
        let again = shop.run(&Job::Write(WriteOptions::Resume));
        let settled = if again.code == 2 {
            // No journal was begun, or the write had come to its end.
            let now = shop.contents("store");
            if now == self.target {
                return After::Done;
            }
            assert!(now == self.before, "{what}: changed without a journal: {}", again.text);
            shop.written(&self.code)
        } else {
            again
        };
        assert!(self.is_sound(&mut shop), "{what}: kept zone, RAM or backup was touched");
        if settled.code == 0 {
            assert!(shop.contents("store") == self.target, "{what}: {}", settled.text);
            return if first.code == 0 { After::Done } else { After::Resumed };
        }
        assert_eq!(settled.code, 1, "{what}: {}", settled.text);
        assert!(settled.text.contains("sector "), "{what}: {}", settled.text);
        assert!(settled.text.contains("plan --back"), "{what}: {}", settled.text);
        After::Named
    }

    fn is_sound(&self, bench: &mut Workshop) -> bool {
        let now = bench.contents("store");
        let kept_sector = 0x7C00 * 4..0x8000 * 4;
        // The sector of the kept zone may be in hand; the zone's copy is then in the backup.
        let in_hand = now[kept_sector.clone()] != self.before[kept_sector.clone()]
            && now[kept_sector.clone()] != self.target[kept_sector];
        let untouched = now[self.kept.clone()] == self.before[self.kept.clone()];
        let copies = Shelf::open(Arc::<MemDisk>::clone(&bench.disk), Path::new("/shelf")).unwrap();
        let proofs = copies.check(None).unwrap();
        (untouched || in_hand)
            && bench.contents("records") == self.records
            && !proofs.is_empty()
            && proofs.iter().all(crate::shelf::CheckReport::good)
    }
}

/// What came of a write that was cut off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum After {
    /// The blow never came.
    NotHit,
    /// The write had ended already.
    Done,
    /// `resume` brought it to its end.
    Resumed,
    /// A sector could not be written, and was named.
    Named,
}

impl Workshop {
    /// Runs a job whose port ends at `at`, or with the disk.
    fn cut_off(&mut self, job: &Job, at: Option<Nanos>) -> Outcome {
        let disk = Arc::<MemDisk>::clone(&self.disk);
        self.run_through(job, |port| Box::new(Cut { port, at, disk }))
    }
}

fn count(case: &Case, blow: Blow, times: u64) {
    let mut seed = fastrand::Rng::with_seed(SEED ^ blow as u64);
    let mut counts = [0_u32; 4];
    for _ in 0..times {
        let at = IDLE + Nanos(seed.u64(0..case.lasts.since(IDLE).0));
        counts[case.blown(blow, Some(at), None) as usize] += 1;
    }
    let [_, done, resumed, named] = counts;
    println!("{blow:?}: {times} times, {resumed} resumed, {done} had ended, {named} sectors named");
    assert!(resumed > 0, "{blow:?} never hit");
}

/// Of 1,000 frames each way ten are damaged, and two each are lost, come twice, or run together.
#[test]
fn damaged_frames_skip_no_word_and_write_none_twice() {
    for (chip, family) in [("SMALL-A", "amd"), ("SMALL-I", "intel")] {
        let case = Case::new(chip, family);
        let mut damaged = (0, 0);
        for seed in 0..10 {
            let mut shop = case.shop();
            let odds =
                FrameFaults { flip: 0.01, drop: 0.002, double: 0.002, lost_delimiter: 0.002 };
            shop.description.request_faults = odds;
            shop.description.reply_faults = odds;
            shop.description.fault_seed = seed;
            shop.port = SimPort::new(Bench::new(&shop.description, 1));
            let outcome = shop.written(&case.code);
            assert_eq!(outcome.code, 0, "{chip}, seed {seed}: {}", outcome.text);
            assert!(shop.contents("store") == case.target, "{chip}, seed {seed}: not as planned");
            assert_eq!(books(&shop), case.books, "{chip}, seed {seed}: other than undisturbed");
            let (requests, replies) = shop.port.bench().damaged();
            damaged = (damaged.0 + requests, damaged.1 + replies);
        }
        let (requests, replies) = damaged;
        println!("{chip}: 10 writes with {requests} requests and {replies} replies damaged");
        assert!(requests > 10 && replies > 10);
    }
}

fn times() -> u64 {
    std::env::var("BUSWRIGHT_CRASHES").ok().and_then(|n| n.parse().ok()).unwrap_or(TIMES)
}

#[test]
fn cut_off_at_random_times_chips_of_the_amd_family() {
    let case = Case::new("SMALL-A", "amd");
    for blow in BLOWS {
        count(&case, blow, times() / 8);
    }
}

#[test]
fn cut_off_at_random_times_chips_of_the_intel_family() {
    let case = Case::new("SMALL-I", "intel");
    for blow in BLOWS {
        count(&case, blow, times() / 8);
    }
}

#[test]
fn killed_at_every_step_of_the_journal() {
    let case = Case::new("SMALL-A", "amd");
    let mut tried = 0;
    for tear in [Tear::Nothing, Tear::Half, Tear::All] {
        let mut op = 1;
        while case.blown(Blow::Kill, None, Some((op, tear))) != After::NotHit {
            op += 1;
        }
        tried += op - 1;
    }
    println!("killed at {tried} operations of the disk");
    assert!(tried > 60, "{tried}");
}
