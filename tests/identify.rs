//! Identification over the simulated bench, in simulated time: every family on every bus, and
//! everything that could be harmed by asking.
//!
//! The chips' books are the witness: no test here passes with a word programmed, a sector erased
//! or a content changed. Codes and sequences are from the datasheets named in the chip models.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "identify/bad_modules.rs"]
mod bad_modules;
#[path = "identify/families.rs"]
mod families;
#[path = "identify/scrambled.rs"]
mod scrambled;
#[path = "identify/shelf.rs"]
mod shelf;
#[path = "identify/slow_adapters.rs"]
mod slow_adapters;
#[path = "support/virtual_time.rs"]
mod virtual_time;

use buswright::app::{IdentifyOptions, Job, SimPort, Wanted};
use buswright::bus::{Levels, Phases, Shape, ShapeTimes, Width};
use buswright::sim::{Bench, BenchDescription};
use serde_json::Value;
use std::fs;
use tempfile::TempDir;
use virtual_time::{Run, Scenario};

/// A made-up module with one store, described twice: for the bench and for the host.
struct Made {
    /// `flash`, `ram` or `rom`, as the bench has it.
    kind: &'static str,
    /// Further keys of the bench's memory.
    memory: String,
    /// Width in bits and words.
    size: (u32, u32),
    /// Keys of the sheet's space: kind, family.
    says: String,
    /// Lines that a chip occupies.
    lane: u32,
}

impl Made {
    /// Chips of one type, `lane` lines each, that fill `bits`.
    fn of(chip: &str, lane: u32, (bits, words): (u32, u32), family: &str) -> Self {
        let says = match family {
            "" => "kind = \"flash\"".to_owned(),
            family => format!("kind = \"flash\"\nfamily = \"{family}\""),
        };
        let chips = vec![format!("\"{chip}\""); (bits / lane) as usize];
        let memory = format!("chips = [{}]", chips.join(", "));
        Self { kind: "flash", memory, size: (bits, words), says, lane }
    }

    fn bench(&self) -> BenchDescription {
        let (bits, words) = self.size;
        let (kind, memory) = (self.kind, &self.memory);
        let text = format!(
            "format = 1\nsheet = \"MADE\"\nspecimen = \"MADE #1\"\nboard = \"bench two\"\n\
             [[memory]]\nkind = \"{kind}\"\nname = \"store\"\nwidth = {bits}\nwords = {words}\n\
             select = {{ CS0 = \"low\" }}\naccess_ns = 100\n{memory}\n"
        );
        BenchDescription::parse("made.toml", &text).unwrap()
    }

    fn sheet(&self) -> String {
        let (bits, words) = self.size;
        let chips = (0..bits / self.lane).map(|n| {
            let (first, last) = (n * self.lane, (n + 1) * self.lane - 1);
            format!("{{ ref = \"U{}\", lane = \"D{first}-D{last}\" }}", n + 1)
        });
        let chips = chips.collect::<Vec<_>>().join(", ");
        let says = &self.says;
        format!(
            "format = 1\nname = \"MADE\"\nrail_mv = 3300\naddress_lines = 24\n[[space]]\n\
             name = \"store\"\n{says}\nwidth = {bits}\nwords = {words}\n\
             select = {{ CS0 = \"low\" }}\nchips = [{chips}]\n"
        )
    }
}

/// A bench on which identification is run.
struct Rig {
    description: BenchDescription,
    folder: TempDir,
    wanted: Wanted,
    options: IdentifyOptions,
    port: SimPort,
}

impl Rig {
    fn new(made: &Made) -> Self {
        let rig = Self::with_sheet(made.bench(), &made.sheet());
        let fill: Vec<u8> = (0..64 * 1024_u32).map(|n| (n * 7 + n / 251) as u8).collect();
        let mut rig = rig;
        assert!(rig.port.bench_mut().adapter_mut().socket_mut().set_contents("store", &fill));
        rig
    }

    fn builtin(name: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let description = BenchDescription::builtin(name).unwrap();
        let port = SimPort::new(Bench::new(&description, 1));
        let (wanted, options) = (Wanted::default(), IdentifyOptions::default());
        Self { description, folder, wanted, options, port }
    }

    fn with_sheet(description: BenchDescription, sheet: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("sheet.toml");
        fs::write(&file, sheet).unwrap();
        let wanted = Wanted {
            sheet: Some(file.to_str().unwrap().to_owned()),
            specimen: Some("MADE #1".into()),
            ..Wanted::default()
        };
        let port = SimPort::new(Bench::new(&description, 1));
        Self { description, folder, wanted, options: IdentifyOptions::default(), port }
    }

    fn identify(&mut self) -> Run {
        let job = Job::Identify(self.options.clone());
        self.job(job)
    }

    fn job(&mut self, job: Job) -> Run {
        let captures = self.folder.path().join("shelf");
        let mut scenario = Scenario::of(self.description.clone(), &captures);
        scenario.wanted = self.wanted.clone();
        scenario.job = job;
        scenario.plan.remembered = Some(self.port.bench().adapter().rate());
        scenario.run_on(&mut self.port, |_, _| ())
    }

    fn contents(&self) -> Vec<u8> {
        self.port.bench().adapter().socket().contents("store").unwrap()
    }

    /// Nothing was programmed, erased, or left in another mode than reading.
    fn assert_unharmed(&self, before: &[u8]) {
        assert!(self.contents() == before, "the contents have changed");
        let socket = self.port.bench().adapter().socket();
        for chip in socket.chips("store") {
            let books = chip.books();
            assert_eq!(books.programs, 0, "{}", chip.kind().name);
            assert!(books.erases.iter().all(|erases| *erases == 0), "{}", chip.kind().name);
        }
        let books = self.port.bench().adapter().books();
        assert_eq!(books.violation_count, 0, "{:?}", books.violations);
        assert!(!self.port.bench().adapter().rail_is_on());
    }
}

/// A cycle of the made-up modules, `width` wide, on the bench's own lines OE, WE and CS0.
fn shape(width: Width) -> Shape {
    let low = |mask| Levels { mask, level: 0 };
    Shape {
        width,
        first_line: 0,
        idle: Levels { mask: 0b1111, level: 0b1111 },
        read: Phases { setup: low(0b100), strobe: low(0b001) },
        write: Some(Phases { setup: low(0b100), strobe: low(0b010) }),
        times: ShapeTimes { setup: 50, pulse: 150, hold: 50, recover: 50, release: 50 },
    }
}

/// The report of a run that has one.
fn report(run: &Run) -> &Value {
    run.outcome.report.as_ref().unwrap_or_else(|| panic!("no report: {}", run.words()))
}

/// The chips of the first space.
fn chips(run: &Run) -> &[Value] {
    report(run)["spaces"][0]["chips"].as_array().unwrap()
}

/// What is warned of in the first space.
fn warnings(run: &Run) -> Vec<&str> {
    let warnings = report(run)["spaces"][0]["warnings"].as_array().unwrap();
    warnings.iter().map(|text| text.as_str().unwrap()).collect()
}
