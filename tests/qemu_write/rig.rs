//! An emulated module on a bench on which jobs follow each other, and the judge of its cycles.

use crate::images::Image;
use crate::judge::Judge;
use crate::modules::Kind;
use crate::support::fitted::{Fitted, Log};
use crate::virtual_time::{Run, Scenario};
use buswright::app::{
    BlockState, EraseOptions, Event, Job, PlanOptions, SimPort, Wanted, WriteOptions,
};
use buswright::sim::{Bench, BenchDescription};
use std::borrow::Cow;
use std::cell::Cell;
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;
use toml::Table;

/// The module in its socket, and its shelf.
pub struct Rig {
    pub kind: Kind,
    pub image: Image,
    pub judge: Judge,
    pub log: Log,
    pub port: SimPort,
    description: BenchDescription,
    files: Vec<PathBuf>,
    folder: TempDir,
    wanted: Wanted,
}

impl Rig {
    /// The module `kind` that holds what `image` says. `more` is of the bench file.
    pub fn new(kind: Kind, image: Image, more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let files: Vec<_> = (0..kind.files).map(|n| at(&format!("flash-{n}.bin"))).collect();
        for (n, file) in files.iter().enumerate() {
            fs::write(file, lane(&image.before, kind.width.bytes(), (n, kind.files))).unwrap();
        }
        fs::write(at("sheet.toml"), kind.sheet()).unwrap();
        if let Some(text) = &kind.chip_file {
            fs::write(at("own.toml"), text).unwrap();
        }
        let label = format!("{} #0001", kind.name);
        let description = BenchDescription::parse("bench.toml", &kind.bench(&label, more)).unwrap();
        let (fitted, log) = Fitted::new(kind.starts(&files));
        let port = SimPort::new(Bench::with_socket(&description, Box::new(fitted), 1));
        let sheet = at("sheet.toml").to_str().map(str::to_owned);
        let wanted = Wanted { sheet, specimen: Some(label), ..Wanted::default() };
        let judge = Judge::new(kind.family, kind.width, &kind.layout, &image.before);
        Self { kind, image, judge, log, port, description, files, folder, wanted }
    }

    /// The label of the module.
    pub fn label(&self) -> String {
        format!("{} #0001", self.kind.name)
    }

    /// The chip files that plans are made with.
    pub fn chips(&self) -> Vec<PathBuf> {
        self.kind.chip_file.iter().map(|_| self.folder.path().join("own.toml")).collect()
    }

    /// Runs a job and judges its cycles, of which those that change something must be in the
    /// sectors that are allowed.
    pub fn job(&mut self, job: Job) -> Run {
        self.job_stopped(job, usize::MAX)
    }

    /// The same; once so many sectors are written, somebody asks to stop.
    fn job_stopped(&mut self, job: Job, after: usize) -> Run {
        let captures = self.folder.path().join("shelf");
        let mut scenario = Scenario::of(self.description.clone(), &captures);
        let written = Cell::new(0);
        let cancel = scenario.cancel.clone();
        scenario.wanted = self.wanted.clone();
        scenario.job = job;
        scenario.plan.remembered = Some(self.port.bench().adapter().rate());
        scenario.heard = Some(Box::new(move |event| {
            let is_written = matches!(event, Event::Block { state: BlockState::Written, .. });
            written.set(written.get() + usize::from(is_written));
            if written.get() == after {
                cancel.request();
            }
        }));
        let run = scenario.run_on(&mut self.port, |_, _| ());
        let adapter = self.port.bench().adapter();
        assert!(!adapter.rail_is_on(), "the rail is on: {}", run.words());
        let books = adapter.books();
        assert_eq!(books.violation_count, 0, "{:?}", books.violations);
        assert_eq!(self.log.unpowered(), 0, "cycles without supply");
        self.judge.see(&self.log.take());
        run
    }

    /// Plans to bring the image onto the module, with these chip files.
    pub fn plan_with(&mut self, chips: Vec<PathBuf>) -> Run {
        let file = self.folder.path().join("image.bin");
        fs::write(&file, &self.image.after).unwrap();
        let image = file.to_str().map(str::to_owned);
        self.job(Job::Plan(PlanOptions { image, chips, ..PlanOptions::default() }))
    }

    /// Plans to bring the image onto the module; the plan must be for just the sectors that
    /// change, and from here on these may be changed.
    pub fn plan(&mut self) -> String {
        let run = self.plan_with(self.chips());
        let code = self.planned(&run);
        self.judge.allow(&self.image.numbers());
        code
    }

    /// Plans the way back, which is for the same sectors. Where they are blank again afterwards
    /// they must be erased, too.
    pub fn plan_back(&mut self) -> String {
        let chips = self.chips();
        let run = self.job(Job::Plan(PlanOptions { chips, ..PlanOptions::default() }));
        code_of(&run)
    }

    /// The code of the plan of a run, whose sectors must be those of the image that change.
    fn planned(&self, run: &Run) -> String {
        let code = code_of(run);
        let file = self.folder.path().join("shelf/plans").join(&code).join("plan.toml");
        let plan: Table = fs::read_to_string(file).unwrap().parse().unwrap();
        let sectors = plan["space"][0]["sector"].as_array().unwrap();
        assert_eq!(sectors.len(), self.kind.sectors().len());
        let row = |sector: &toml::Value| {
            let number = sector["number"].as_integer().unwrap();
            (usize::try_from(number).unwrap(), sector["action"].as_str().unwrap().to_owned())
        };
        let changing = sectors.iter().map(row).filter(|(_, action)| action != "keep");
        assert_eq!(changing.collect::<Vec<_>>(), self.image.actions());
        code
    }

    /// Writes a plan.
    pub fn write(&mut self, code: &str) -> Run {
        self.write_stopped(code, usize::MAX)
    }

    /// Writes a plan; once so many sectors are written, somebody asks to stop. The chip files are
    /// gone by then: the plan must know what stood in them.
    pub fn write_stopped(&mut self, code: &str, after: usize) -> Run {
        for file in self.chips() {
            fs::rename(&file, file.with_extension("away")).unwrap();
        }
        let (code, confirm) = (code.to_owned(), self.label());
        let run = self.job_stopped(Job::Write(WriteOptions::Plan { code, confirm }), after);
        for file in self.chips() {
            fs::rename(file.with_extension("away"), &file).unwrap();
        }
        run
    }

    /// Goes on with what was interrupted.
    pub fn resume(&mut self) -> Run {
        self.job(Job::Write(WriteOptions::Resume))
    }

    /// Makes sectors blank, which from here on may be changed.
    pub fn erase(&mut self, sectors: &[usize]) -> Run {
        self.judge.allow(sectors);
        let range = format!("{}-{}", sectors[0], sectors[sectors.len() - 1]);
        let (confirm, chips) = (self.label(), self.chips());
        self.job(Job::Erase(EraseOptions { range, confirm, chips, ..EraseOptions::default() }))
    }

    /// How often each sector was erased in every lane since the last call; the lanes must agree.
    pub fn erases(&mut self) -> Vec<(usize, u32)> {
        let lanes = self.judge.done();
        assert!(lanes.iter().all(|lane| lane.erases == lanes[0].erases), "the lanes differ");
        let erases = lanes[0].erases.iter().copied().enumerate();
        erases.filter(|(_, erases)| *erases > 0).collect()
    }

    /// The module and the judge hold `wanted`.
    pub fn assert_holds(&self, wanted: &[u8]) {
        self.assert_files_hold(wanted);
        let unlike = self.judge.first_unlike(wanted);
        assert_eq!(unlike, None, "the first word that the cycles do not account for");
    }

    /// Every byte of every backing file is as in `wanted`.
    pub fn assert_files_hold(&self, wanted: &[u8]) {
        let size = self.kind.width.bytes();
        for (n, file) in self.files.iter().enumerate() {
            let now = fs::read(file).unwrap();
            let wanted = lane(wanted, size, (n, self.files.len()));
            assert_eq!(now.len(), wanted.len());
            if now != *wanted {
                let unlike = now.iter().zip(&*wanted).position(|(now, wanted)| now != wanted);
                panic!("byte {unlike:X?} of file {n} is the first that is not as intended");
            }
        }
    }
}

/// A run that did what it was asked for.
pub fn assert_good(run: &Run) {
    assert_eq!(run.outcome.code, 0, "{}", run.words());
}

/// The part of `bytes`, words of `size` bytes, that backing file `n` of `count` holds.
fn lane(bytes: &[u8], size: usize, (n, count): (usize, usize)) -> Cow<'_, [u8]> {
    if count == 1 {
        return bytes.into();
    }
    let own = size / count;
    bytes.chunks(size).flat_map(|word| &word[n * own..(n + 1) * own]).copied().collect()
}

fn code_of(run: &Run) -> String {
    assert_good(run);
    let report = run.outcome.report.as_ref().unwrap();
    report["code"].as_str().unwrap_or_else(|| panic!("no code: {}", run.words())).to_owned()
}
