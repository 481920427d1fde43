//! A bench on which jobs follow each other, as on a real one.

use crate::virtual_time::{Run, Scenario};
use buswright::app::{CaptureOptions, Job, PlanOptions, SimPort, Wanted};
use buswright::sim::{Bench, BenchDescription};
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

pub struct Rig {
    pub description: BenchDescription,
    pub folder: TempDir,
    pub wanted: Wanted,
    pub port: SimPort,
}

impl Rig {
    pub fn builtin(name: &str) -> Self {
        Self::new(BenchDescription::builtin(name).unwrap(), Wanted::default(), 1)
    }

    /// A made-up module with one store of `chip`s, each on `lane` lines, and further text for the
    /// bench and for the sheet.
    pub fn made(chip: &str, lane: u32, size: (u32, u32), family: &str, more: (&str, &str)) -> Self {
        let (bits, words) = size;
        let chips = vec![format!("\"{chip}\""); (bits / lane) as usize].join(", ");
        let bench = format!(
            "format = 1\nsheet = \"MADE\"\nspecimen = \"MADE #1\"\nboard = \"bench two\"\n\
             [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = {bits}\nwords = {words}\n\
             select = {{ CS0 = \"low\" }}\naccess_ns = 100\nchips = [{chips}]\n{}\n",
            more.0
        );
        let bench = BenchDescription::parse("made.toml", &bench).unwrap();
        let chips = (0..bits / lane).map(|n| {
            let (first, last) = (n * lane, (n + 1) * lane - 1);
            format!("{{ ref = \"U{}\", lane = \"D{first}-D{last}\" }}", n + 1)
        });
        let chips = chips.collect::<Vec<_>>().join(", ");
        let sheet = format!(
            "format = 1\nname = \"MADE\"\nrail_mv = 3300\naddress_lines = 24\n[[space]]\n\
             name = \"store\"\nkind = \"flash\"\nfamily = \"{family}\"\nwidth = {bits}\n\
             words = {words}\nselect = {{ CS0 = \"low\" }}\nchips = [{chips}]\n{}\n",
            more.1
        );
        let mut rig = Self::new(bench, Wanted::default(), 1);
        let file = rig.path("sheet.toml");
        fs::write(&file, sheet).unwrap();
        rig.wanted =
            Wanted { sheet: Some(file), specimen: Some("MADE #1".into()), ..Wanted::default() };
        rig
    }

    fn new(description: BenchDescription, wanted: Wanted, seed: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = SimPort::new(Bench::new(&description, seed));
        Self { description, folder, wanted, port }
    }

    pub fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    pub fn edit_sheet(&self, from: &str, to: &str) {
        let file = self.path("sheet.toml");
        let sheet = fs::read_to_string(&file).unwrap();
        assert!(sheet.contains(from), "{sheet}");
        fs::write(file, sheet.replace(from, to)).unwrap();
    }

    pub fn job(&mut self, job: Job) -> Run {
        let captures = self.folder.path().join("shelf");
        let mut scenario = Scenario::of(self.description.clone(), &captures);
        scenario.wanted = self.wanted.clone();
        scenario.job = job;
        scenario.plan.remembered = Some(self.port.bench().adapter().rate());
        scenario.run_on(&mut self.port, |_, _| ())
    }

    pub fn capture(&mut self) -> Run {
        self.job(Job::Capture(CaptureOptions::default()))
    }

    /// Plans to bring `image` into the store.
    pub fn plan(&mut self, image: &[u8]) -> Run {
        let file = self.path("image.bin");
        fs::write(&file, image).unwrap();
        let (image, space) = (Some(file), Some("store".into()));
        self.job(Job::Plan(PlanOptions { image, space, ..PlanOptions::default() }))
    }

    pub fn contents(&self, memory: &str) -> Vec<u8> {
        self.port.bench().adapter().socket().contents(memory).unwrap()
    }

    pub fn set(&mut self, memory: &str, contents: &[u8]) {
        let socket = self.port.bench_mut().adapter_mut().socket_mut();
        assert!(socket.set_contents(memory, contents));
    }

    /// Nothing was programmed or erased, and the rail is off.
    pub fn assert_unharmed(&self, before: &[u8]) {
        assert!(self.contents("store") == before, "the contents have changed");
        for chip in self.port.bench().adapter().socket().chips("store") {
            let books = chip.books();
            assert_eq!(books.programs, 0, "{}", chip.kind().name);
            assert!(books.erases.iter().all(|erases| *erases == 0), "{}", chip.kind().name);
        }
        let books = self.port.bench().adapter().books();
        assert_eq!(books.violation_count, 0, "{:?}", books.violations);
        assert!(!self.port.bench().adapter().rail_is_on());
    }

    /// The stored plan of a run, and the contents it aims at.
    pub fn stored(&self, run: &Run) -> (toml::Table, Vec<u8>) {
        let code = report(run)["code"].as_str().unwrap_or_else(|| panic!("{}", run.words()));
        let folder = self.folder.path().join("shelf/plans").join(code);
        let text = fs::read_to_string(folder.join("plan.toml")).unwrap();
        (text.parse().unwrap(), fs::read(folder.join("target.bin")).unwrap())
    }
}

/// The report of a run that has one.
pub fn report(run: &Run) -> &Value {
    run.outcome.report.as_ref().unwrap_or_else(|| panic!("no report: {}", run.words()))
}

/// What is done, as `first-last action`, space by space.
pub fn runs(run: &Run) -> Vec<String> {
    let spaces = report(run)["spaces"].as_array().unwrap().iter();
    let runs = spaces.flat_map(|space| space["runs"].as_array().unwrap());
    runs.map(|run| format!("{}-{} {}", run["first"], run["last"], run["action"].as_str().unwrap()))
        .collect()
}
