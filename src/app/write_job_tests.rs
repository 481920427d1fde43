//! Plan and write over simulated benches: what the module holds afterwards, and what the chips'
//! books say was done to it.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

use super::jobs::run_on_disk;
use super::{
    BlockState, CaptureOptions, EraseOptions, Event, Job, Known, Machine, Outcome, PlanOptions,
    SimPort, Wanted, WriteOptions,
};
use crate::bus::Nanos;
use crate::link::{Cancel, Port, PortLost, RatePlan, Transmit};
use crate::shelf::MemDisk;
use crate::sim::{Bench, BenchDescription};
use std::path::Path;
use std::sync::Arc;

/// The port as it is.
pub(super) struct Through<'a>(pub(super) &'a mut dyn Port);

impl Port for Through<'_> {
    fn now(&self) -> Nanos {
        self.0.now()
    }

    fn transmit(&mut self, what: Transmit) -> Result<(), PortLost> {
        self.0.transmit(what)
    }

    fn wait(&mut self, until: Option<Nanos>, into: &mut Vec<u8>) -> Result<(), PortLost> {
        self.0.wait(until, into)
    }
}

/// What passes before each job: an adapter that hears nothing for so long is at its reset rate.
pub(super) const IDLE: Nanos = Nanos::from_secs(11);

/// Hears of events.
type Listener = Box<dyn Fn(&Event)>;

/// One bench and one shelf over several jobs.
pub(super) struct Workshop {
    pub description: BenchDescription,
    pub port: SimPort,
    pub disk: Arc<MemDisk>,
    pub events: Vec<Event>,
    pub cancel: Cancel,
    pub wanted: Wanted,
    /// Hears of every event while a job runs.
    pub stop_at: Option<Listener>,
}

impl Workshop {
    pub(super) fn new(bench: &str) -> Self {
        Self::of(BenchDescription::builtin(bench).unwrap())
    }

    pub(super) fn of(description: BenchDescription) -> Self {
        Self {
            port: SimPort::new(Bench::new(&description, 1)),
            description,
            disk: Arc::new(MemDisk::default()),
            events: Vec::new(),
            cancel: Cancel::default(),
            wanted: Wanted::default(),
            stop_at: None,
        }
    }

    pub(super) fn run(&mut self, job: &Job) -> Outcome {
        self.run_through(job, |port| Box::new(Through(port)))
    }

    /// Runs a job over the port that `through` makes of the bench's.
    pub(super) fn run_through<'a>(
        &'a mut self,
        job: &Job,
        through: impl FnOnce(&'a mut dyn Port) -> Box<dyn Port + 'a>,
    ) -> Outcome {
        self.idle();
        self.run_at_once(job, through)
    }

    /// The same while the adapter is at what an earlier job has left.
    pub(super) fn run_at_once<'a>(
        &'a mut self,
        job: &Job,
        through: impl FnOnce(&'a mut dyn Port) -> Box<dyn Port + 'a>,
    ) -> Outcome {
        let remembered = Some(self.port.bench().adapter().rate());
        let mut port = through(&mut self.port);
        let mut machine = Machine {
            port: port.as_mut(),
            plan: RatePlan { remembered, ..RatePlan::default() },
            identity: "sim",
            bench: Some(&self.description),
            known: &mut Known::default(),
            cancel: self.cancel.clone(),
            shelf: Path::new("/shelf"),
        };
        let events = &mut self.events;
        let heard = self.stop_at.as_ref();
        run_on_disk(
            &mut machine,
            &self.wanted,
            job,
            &mut |event| {
                events.push(event.clone());
                if let Some(heard) = heard {
                    heard(event);
                }
            },
            Arc::<MemDisk>::clone(&self.disk),
        )
    }

    /// What was begun comes to its end without a host.
    pub(super) fn idle(&mut self) {
        let later = self.port.now() + IDLE;
        while self.port.now() < later {
            self.port.wait(Some(later), &mut Vec::new()).unwrap();
        }
    }

    pub(super) fn contents(&mut self, space: &str) -> Vec<u8> {
        self.port.bench().adapter().socket().contents(space).unwrap()
    }

    /// An image as a file.
    fn file(bytes: &[u8]) -> tempfile::NamedTempFile {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), bytes).unwrap();
        file
    }

    pub(super) fn planned(&mut self, image: &[u8], space: &str) -> String {
        let file = Self::file(image);
        let options = PlanOptions {
            image: Some(file.path().to_string_lossy().into_owned()),
            space: Some(space.into()),
            ..PlanOptions::default()
        };
        let outcome = self.run(&Job::Plan(options));
        assert_eq!(outcome.code, 0, "{}", outcome.text);
        outcome.report.unwrap()["code"].as_str().unwrap().to_owned()
    }

    pub(super) fn written(&mut self, code: &str) -> Outcome {
        let (code, confirm) = (code.to_owned(), self.description.specimen.clone());
        self.run(&Job::Write(WriteOptions::Plan { code, confirm }))
    }
}

#[test]
fn a_newer_table_goes_onto_two_chips_side_by_side() {
    let mut shop = Workshop::new("TG-7");
    let (before, records) = (shop.contents("store"), shop.contents("records"));
    let mut image = before.clone();
    // Some words of one sector, and one whole sector blank.
    for byte in &mut image[0x2_0100..0x2_0900] {
        *byte = byte.wrapping_add(1);
    }
    image[0x8_0000..0xA_0000].fill(0xFF);
    let code = shop.planned(&image, "store");
    let outcome = shop.written(&code);
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == image, "the module does not hold the image");
    assert!(shop.contents("records") == records, "the RAM has changed");
    assert!(!shop.port.bench().adapter().rail_is_on());
}

#[test]
fn sectors_are_erased_and_the_way_back_leads_back() {
    let mut shop = Workshop::new("TG-7");
    let before = shop.contents("store");
    let confirm = shop.description.specimen.clone();
    // Words 0x7000 to 0x10000: a part of sector 3 and all of sector 4.
    let options =
        EraseOptions { range: "0x7000+0x9000".into(), confirm, ..EraseOptions::default() };
    let beyond = EraseOptions { range: "3-40".into(), ..options.clone() };
    let outcome = shop.run(&Job::Erase(beyond));
    assert_eq!(outcome.code, 2, "{}", outcome.text);
    assert!(outcome.text.contains("there is no sector 40"), "{}", outcome.text);
    let outcome = shop.run(&Job::Erase(options));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    let text = &outcome.text;
    assert!(text.contains(": 1 sector erased, ") && !text.contains("programmed"), "{text}");
    let mut blank = before.clone();
    blank[0x2_0000..0x4_0000].fill(0xFF);
    assert!(shop.contents("store") == blank, "not exactly sector 4 is blank");
    let mut is_blank = |range: &str| {
        let (space, range) = (Some("store".into()), Some(range.into()));
        let accept_simulated = false;
        shop.run(&Job::Verify { image: "@blank".into(), space, range, accept_simulated })
    };
    let outcome = is_blank("0x8000+0x8000");
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(outcome.text.contains("every word is blank"), "{}", outcome.text);
    let outcome = is_blank("0x7FFF+0x8001");
    assert_eq!(outcome.code, 1, "{}", outcome.text);
    assert!(outcome.text.contains("1 word of 128"), "{}", outcome.text);
    assert!(outcome.text.contains("store word 0x7FFF"), "{}", outcome.text);
    let told = shop.events.iter().any(|event| {
        matches!(event, Event::Caution { text } if text.contains("sector 3") && text.contains("in part"))
    });
    assert!(told, "sector 3 is not named");
    let outcome = shop.run(&Job::Plan(PlanOptions::default()));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    let asked = shop.events.iter().any(|event| {
        matches!(event, Event::Caution { text } if text.contains("Did the instrument start"))
    });
    let code = outcome.report.unwrap()["code"].as_str().unwrap().to_owned();
    let outcome = shop.written(&code);
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == before, "the way back does not lead back");
    let again = shop.written(&code);
    assert_eq!(again.code, 4, "{}", again.text);
    assert!(again.text.contains("already"), "{}", again.text);
    let asked = asked || shop.events.iter().any(|event| {
        matches!(event, Event::Caution { text } if text.contains("Did the instrument start"))
    });
    assert!(asked, "nobody asked whether the instrument started");
}

#[test]
fn of_many_captures_with_the_same_contents_the_latest_are_named() {
    let mut shop = Workshop::new("TG-7");
    for _ in 0..5 {
        let space = Some("records".into());
        let capture = Job::Capture(CaptureOptions { space, passes: 2, ..Default::default() });
        let outcome = shop.run(&capture);
        assert_eq!(outcome.code, 0, "{}", outcome.text);
    }
    let outcome = shop.run(&Job::Identify(super::IdentifyOptions::default()));
    let named = outcome.text.lines().filter(|line| line.contains("content equals capture"));
    let named: Vec<_> = named.collect();
    assert_eq!(named.len(), 3, "{}", outcome.text);
    assert!(named[0].contains("0417-005") && named[2].contains("0417-003"), "{named:?}");
    assert!(outcome.text.contains("and 2 captures before that"), "{}", outcome.text);
}

#[test]
fn a_plan_is_refused_for_another_label_and_for_other_contents() {
    let mut shop = Workshop::new("TG-7");
    let before = shop.contents("store");
    let mut image = before.clone();
    image[0x2_0000..0x2_0100].fill(0);
    let code = shop.planned(&image, "store");
    let options = WriteOptions::Plan { code: code.clone(), confirm: "TG-7 #0418".into() };
    let outcome = shop.run(&Job::Write(options));
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    assert!(outcome.text.contains("TG-7 #0417"), "{}", outcome.text);
    // The label is typed as it is written, here as in the workbench.
    for confirm in ["tg-7 #0417", "TG-7#0417"] {
        let (code, confirm) = (code.clone(), confirm.to_owned());
        let outcome = shop.run(&Job::Write(WriteOptions::Plan { code, confirm: confirm.clone() }));
        assert_eq!(outcome.code, 4, "{}", outcome.text);
        assert!(outcome.text.contains("letter by letter"), "{}", outcome.text);
        let range = "4".to_owned();
        let options = EraseOptions { range, confirm, ..EraseOptions::default() };
        let outcome = shop.run(&Job::Erase(options));
        assert_eq!(outcome.code, 4, "{}", outcome.text);
        assert!(outcome.text.contains("letter by letter"), "{}", outcome.text);
    }
    assert!(shop.contents("store") == before);
    // Another module with the same chips: one word is not as in the backup.
    let mut other = Workshop::new("TG-7");
    let mut contents = before.clone();
    contents[0x10_0000] ^= 1;
    other.description.set_contents("store", contents.clone()).unwrap();
    let mut other = Workshop { disk: Arc::clone(&shop.disk), ..Workshop::of(other.description) };
    let outcome = other.written(&code);
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    assert!(outcome.text.contains("another module with the same chips"), "{}", outcome.text);
    assert!(other.contents("store") == contents, "it was changed");
    let outcome = shop.run(&Job::Write(WriteOptions::Resume));
    assert_eq!(outcome.code, 2, "{}", outcome.text);
    let outcome = shop.written("AAAAAA");
    assert_eq!(outcome.code, 2, "{}", outcome.text);
}

#[test]
fn a_write_switch_that_is_locked_refuses_and_so_does_the_hardware() {
    let mut description = BenchDescription::builtin("TG-7").unwrap();
    description.adapter.write_locked = true;
    let mut shop = Workshop::of(description);
    let before = shop.contents("store");
    let mut image = before.clone();
    image[0x2_0000..0x2_0100].fill(0);
    // Behind a locked switch chips answer no command, so the plan is made elsewhere.
    let mut open = Workshop { disk: Arc::clone(&shop.disk), ..Workshop::new("TG-7") };
    let code = open.planned(&image, "store");
    let outcome = shop.written(&code);
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    assert!(outcome.text.contains("write switch is set to locked"), "{}", outcome.text);
    assert!(shop.contents("store") == before);
    let rails = shop.events.iter().filter(|event| matches!(event, Event::Rail { .. })).count();
    assert_eq!(rails, 0, "the rail was switched");
    let image = Some("@blank".into());
    let outcome = shop.run(&Job::Plan(PlanOptions { image, ..PlanOptions::default() }));
    assert_eq!(outcome.code, 4, "{}", outcome.text);
    let outcome = shop.run(&Job::Identify(super::IdentifyOptions::default()));
    assert!(
        outcome.text.contains("no command was sent: the board's write switch"),
        "{}",
        outcome.text
    );
    let told = |event: &Event| matches!(event, Event::Caution { text } if text.contains("cannot be asked what they are"));
    assert!(shop.events.iter().any(told), "{:?}", shop.events);
    assert!(shop.contents("store") == before);
}

#[test]
fn a_stopped_write_is_gone_on_with() {
    let mut shop = Workshop::new("TG-7");
    let mut image = shop.contents("store");
    for byte in &mut image[0x2_0000..0x1E_0000] {
        *byte ^= 0x3C;
    }
    let code = shop.planned(&image, "store");
    let cancel = shop.cancel.clone();
    shop.stop_at = Some(Box::new(move |event| {
        if matches!(event, Event::Block { state: BlockState::Written, .. }) {
            cancel.request();
        }
    }));
    let outcome = shop.written(&code);
    assert_eq!(outcome.code, 130, "{}", outcome.text);
    assert!(outcome.text.contains("1 of 14 sectors of store is written; `buswright resume` goes"));
    assert!(!shop.port.bench().adapter().rail_is_on());
    assert!(shop.contents("store") != image);
    shop.stop_at = None;
    shop.cancel = Cancel::default();
    let outcome = shop.run(&Job::Write(WriteOptions::Resume));
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    assert!(shop.contents("store") == image, "the module does not hold the image");
    // The report is of the whole write, not only of what the second process did.
    let report = outcome.report.unwrap();
    let number = |field: &str| report[field].as_u64().unwrap();
    let now = number("erased") + number("programmed");
    assert_eq!((number("sectors"), number("written")), (14, 14), "{}", outcome.text);
    assert!(0 < now && now < 14, "{now}");
    assert_eq!(number("bytes_written"), 14 * 0x2_0000);
    let said = format!("14 of 14 sectors are written, {now} of them now");
    assert!(outcome.text.contains(&said), "{}", outcome.text);
}

#[test]
fn what_differs_only_where_the_plan_kept_a_zone_is_said_to() {
    let mut shop = Workshop::new("TG-7");
    let mut image = shop.contents("store");
    image[0x2_0100] ^= 1;
    let constants = 0x7_E000 * 4;
    image[constants] ^= 1;
    image[constants + 0x1FFF] ^= 1;
    let code = shop.planned(&image, "store");
    let outcome = shop.written(&code);
    assert_eq!(outcome.code, 0, "{}", outcome.text);
    let verified = |shop: &mut Workshop, image: &[u8]| {
        let file = Workshop::file(image);
        let image = file.path().to_string_lossy().into_owned();
        let (space, range, accept_simulated) = (Some("store".into()), None, false);
        shop.run(&Job::Verify { image, space, range, accept_simulated })
    };
    let outcome = verified(&mut shop, &image);
    assert_eq!(outcome.code, 1, "{}", outcome.text);
    let said = format!(
        "in 2 words of 2 MiB, all in zone constants of store (0x7E000+0x800), which plan {code} kept"
    );
    assert!(outcome.text.contains(&said), "{}", outcome.text);
    let kept = &outcome.report.unwrap()["kept"][0];
    assert_eq!((&kept["zone"], &kept["differing"]), (&"constants".into(), &2.into()));
    image[0x4_0000] ^= 1;
    let outcome = verified(&mut shop, &image);
    assert_eq!(outcome.code, 1, "{}", outcome.text);
    assert!(outcome.text.contains("in 3 words of 2 MiB, 2 of them in zone"), "{}", outcome.text);
    // Words there that are other than the plan left them are no plan's doing.
    image[0x4_0000] ^= 1;
    let mut contents = shop.contents("store");
    contents[constants + 4] ^= 1;
    shop.description.set_contents("store", contents).unwrap();
    let mut later = Workshop::of(shop.description.clone());
    later.disk = Arc::clone(&shop.disk);
    let outcome = verified(&mut later, &image);
    assert!(outcome.text.contains("in 3 words of 2 MiB, 2 of them in zone"), "{}", outcome.text);
}
