//! Plans and writes through the core, on a simulated bench whose line takes no time.

use super::tests::{Screen, screen_of};
use super::*;
use crate::app::{Job, PlanOptions, Wanted, WriteOptions};
use crate::shelf::{HistoryLine, OsDisk, Shelf};
use std::sync::Arc;

const SPACES: &str = "[[KIND]]\nname = \"store\"\nkind = \"flash\"\nwidth = 16\nwords = 0x8000\n\
    select = { CS0 = \"low\" }\nSTORE\n\
    [[KIND]]\nname = \"records\"\nkind = \"ram\"\nwidth = 16\nwords = 0x1000\n\
    select = { CS1 = \"low\" }\n";
const LABEL: &str = "PT #0001";

fn screen() -> Screen {
    let part = |head: &str, kind: &str, store: &str| {
        format!("{head}{}", SPACES.replace("KIND", kind).replace("STORE", store))
    };
    let sheet = part(
        "format = 1\nname = \"PT\"\nrail_mv = 3300\naddress_lines = 20\n",
        "space",
        "family = \"amd\"\nchips = [{ ref = \"U1\", lane = \"D0-D15\" }]",
    );
    let bench = part(
        "format = 1\nsheet = \"small.toml\"\nspecimen = \"PT #0001\"\n[line]\npace = \"instant\"\n",
        "memory",
        "access_ns = 100\nchips = [\"SMALL-A\"]",
    );
    screen_of(&sheet, &bench)
}

/// The write of the plan that was made last.
fn write_of(now: &Snapshot, confirm: &str) -> Job {
    let (code, confirm) = (now.plan_code().unwrap().to_string(), confirm.to_string());
    Job::Write(WriteOptions::Plan { code, confirm })
}

impl Screen {
    fn job(&mut self, word: &'static str, job: Job) -> Snapshot {
        let ended = self.handle.look().0.ended;
        self.handle.send(Command::Run(word, job));
        self.until(|now| now.ended == ended + 1);
        // What comes after the job's end is done when the next command is.
        let looks = self.handle.look().0.looks;
        self.handle.send(Command::Look(Wanted::default()));
        self.until(|now| now.looks == looks + 1)
    }

    fn plan(&mut self, image: Option<&str>, range: Option<&str>) -> Snapshot {
        let image = image.map(str::to_string);
        let space = image.as_ref().map(|_| "store".to_string());
        let range = range.map(str::to_string);
        let options = PlanOptions { image, space, range, ..PlanOptions::default() };
        self.job("plan", Job::Plan(options))
    }

    fn write(&mut self, now: &Snapshot) -> Snapshot {
        self.job("write", write_of(now, LABEL))
    }

    /// Orders the write, and does not wait for anything.
    fn begin_write(&mut self, now: &Snapshot) {
        self.handle.send(Command::Run("write", write_of(now, LABEL)));
    }

    fn history(&self) -> Vec<HistoryLine> {
        let captures = Shelf::open(Arc::new(OsDisk), &self.shelf()).unwrap();
        captures.history(&crate::shelf::Label::parse(LABEL).unwrap()).unwrap().lines
    }
}

/// How often each state is there, of the sectors of the store.
fn count(now: &Snapshot, progressed: Progressed) -> usize {
    now.map[0].planned.iter().filter(|part| part.progressed == progressed).count()
}

#[test]
fn a_plan_is_made_read_written_and_proven() {
    let mut screen = screen();
    let now = screen.connect();
    assert!(now.plan.is_none() && now.unfinished.is_none() && now.unanswered.is_none());
    // Sectors of 0x800 words, then of 0x1000: one whole, and a part of the next.
    let now = screen.plan(Some("@blank"), Some("0x1000+0x1800"));
    let plan = now.plan.clone().unwrap_or_else(|| panic!("{:?}", screen.items));
    assert_eq!((plan.specimen.as_str(), plan.whole, plan.erased), (LABEL, true, 3));
    let text: Vec<_> = plan.rows.iter().map(|(head, text)| format!("{head}: {text}")).collect();
    let text = text.join("\n");
    for words in ["aim: blank words", "way back: 0001-001", "changes: 3 sectors", "time: about"] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let actions: Vec<_> = now.map[0].planned.iter().map(|part| part.action).collect();
    let (keep, erase) = (Action::Keep, Action::Erase);
    assert_eq!(actions[..6], [keep, keep, erase, erase, erase, keep]);
    assert_eq!((actions.len(), now.map[0].sectors.len()), (10, 10));
    assert!(now.map[1].planned.is_empty(), "RAM is in no plan");
    let now = screen.write(&now);
    assert_eq!(now.last_code, Some(0), "{:?}", screen.items);
    assert_eq!(count(&now, Progressed::Verified), 10);
    assert!(now.plan.is_none() && now.unfinished.is_none() && now.leave.is_none());
    let end = now.write_end.clone().unwrap();
    assert_eq!(Some(&end.plan), plan.code.as_ref());
    assert!(end.code == 0 && end.text.contains("holds what plan"), "{end:?}");
    assert!(matches!(now.rail, Rail::Off { measured: true, .. }));
    // What the copy knew of these words is no longer so.
    assert_eq!(now.map[0].cells[0].mark, Mark::NotRead);
    assert!(now.unanswered.is_some(), "asked at the next look");
    screen.handle.send(Command::Started(true));
    screen.until(|now| now.unanswered.is_none());
    assert!(screen.said("the instrument started: yes"));
    assert!(screen.history().iter().any(|line| line.event == "started" && line.text == "yes"));
    // The bench keeps its module while it is not connected: the way back leads back.
    screen.handle.send(Command::Disconnect);
    let port = format!("sim:{}", screen.folder.path().join("bench.toml").display());
    let looks = now.looks;
    screen.handle.send(Command::Connect(port.parse().unwrap(), Wanted::default()));
    let now = screen.until(|now| now.looks == looks + 1);
    assert!(now.plan.is_none(), "a new connection knows of no plan");
    let now = screen.plan(None, None);
    let plan = now.plan.clone().unwrap_or_else(|| panic!("{:?}", screen.items));
    assert!(plan.what.contains("0001-001"), "{}", plan.what);
    let now = screen.write(&now);
    assert_eq!(now.last_code, Some(0), "{:?}", screen.items);
    let now = screen.plan(Some("0001-001"), None);
    assert_eq!(now.plan.unwrap().code, None, "the module holds that already");
}

#[test]
fn a_stopped_write_is_offered_and_gone_on_with() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    let code = now.plan_code().unwrap().to_string();
    screen.begin_write(&now);
    screen.until(|now| count(now, Progressed::Written) > 0);
    screen.handle.stop();
    let now = screen.until(|now| now.unfinished.is_some());
    assert_eq!(now.last_code, Some(130), "{:?}", screen.items);
    let unfinished = now.unfinished.clone().unwrap();
    assert_eq!((&unfinished.code, unfinished.of), (&code, 10));
    assert!((1..10).contains(&unfinished.written), "{unfinished:?}");
    assert!(unfinished.broken.is_empty(), "it stops between two sectors: {unfinished:?}");
    assert_eq!(now.write_end.as_ref().map(|end| end.code), Some(130));
    assert!(now.plan.is_none(), "it is no plan for what is there now");
    assert!(matches!(now.rail, Rail::Off { .. }) && now.leave.is_none());
    let now = screen.job("write", Job::Write(WriteOptions::Resume));
    assert_eq!(now.last_code, Some(0), "{:?}", screen.items);
    assert_eq!(count(&now, Progressed::Verified), 10);
    assert!(now.unfinished.is_none());
}

/// Stops the write of `now` once a sector is written.
fn stopped(screen: &mut Screen, now: &Snapshot) -> Snapshot {
    screen.begin_write(now);
    screen.until(|now| count(now, Progressed::Written) > 0);
    screen.handle.stop();
    screen.until(|now| now.doing == Doing::Nothing && now.unfinished.is_some())
}

#[test]
fn a_copy_from_the_midst_of_a_write_is_marked_and_is_no_way_back() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    stopped(&mut screen, &now);
    screen.job("capture", Job::Capture(crate::app::CaptureOptions::default()));
    let lines = image_lines(&screen.shelf(), LABEL, true);
    let names: Vec<_> = lines.iter().map(|line| line.name.as_str()).collect();
    assert_eq!(names, [BACK, "0001-001", "0001-002", BLANK], "{lines:?}");
    let mixture = |n: usize| lines[n].about.contains("MIXTURE");
    assert!(!mixture(1) && mixture(2), "{lines:?}");
    // The way back is interrupted as well: what it leads to stays.
    let now = screen.plan(None, None);
    assert_eq!(now.plan.as_ref().unwrap().backup, "0001-001", "{:?}", screen.items);
    let now = stopped(&mut screen, &now);
    assert_eq!(now.unfinished.unwrap().backup, "0001-001");
    assert_eq!(now.write_end.unwrap().backup, "0001-001");
}

#[test]
fn a_new_plan_that_is_written_instead_is_the_one_that_is_named() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    let given_up = now.plan_code().unwrap().to_string();
    screen.begin_write(&now);
    screen.until(|now| count(now, Progressed::Written) > 0);
    screen.handle.stop();
    let now = screen.until(|now| now.unfinished.is_some());
    assert_eq!(now.laid.as_ref(), Some(&given_up));
    let now = screen.plan(Some("@blank"), Some("0x1000+0x1800"));
    let code = now.plan_code().unwrap().to_string();
    assert!(now.unfinished.is_some() && code != given_up);
    assert_eq!(now.laid.as_ref(), Some(&code));
    screen.begin_write(&now);
    let now = screen.until(|now| now.map[0].in_hand.is_some());
    assert_eq!(now.laid.as_ref(), Some(&code), "{:?}", screen.items);
    let now = screen.until(|now| now.doing == Doing::Nothing && now.unfinished.is_none());
    assert_eq!((now.laid.as_ref(), now.last_code), (Some(&code), Some(0)));
}

#[test]
fn what_cannot_be_planned_is_known_before_or_told_with_the_refusal() {
    let mut screen = screen();
    screen.connect();
    let short = screen.folder.path().join("short.bin");
    std::fs::write(&short, [0; 5]).unwrap();
    let short = short.to_str().unwrap();
    let of = |image: &str| image_error(&screen.shelf(), LABEL, true, image);
    assert_eq!((of(BACK), of(BLANK), of(short)), (None, None, None));
    for (image, words) in [
        ("nofile.bin", "no such file"),
        ("9999-001", "9999-001 is not on the shelf"),
        (screen.folder.path().to_str().unwrap(), "only plain files are read"),
    ] {
        assert!(of(image).is_some_and(|why| why.contains(words)), "{image}: {:?}", of(image));
    }
    // What is advised is in keys here: nobody types an option in the workbench.
    let why = of("9999-001").unwrap();
    assert!(why.ends_with("the list of n shows what is"), "{why}");
    let now = screen.plan(None, None);
    let why = now.plan_refused.clone().unwrap_or_else(|| panic!("{:?}", screen.items));
    assert!(why.contains("name an image, or a capture from the list of n"), "{why}");
    let told = |item: &Item| matches!(item, Item::Line(line) if line.text.contains("list of n"));
    assert!(screen.items.iter().any(told), "{:?}", screen.items);
    let now = screen.plan(Some(short), None);
    let why = now.plan_refused.clone().unwrap_or_else(|| panic!("{:?}", screen.items));
    assert!(why.contains("holds 5 bytes"), "{why}");
    let now = screen.plan(Some("@blank"), None);
    assert!(now.plan_refused.is_none() && now.plan.is_some(), "{:?}", screen.items);
}

#[test]
fn what_an_earlier_bench_was_given_is_not_offered_for_a_new_one() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    screen.begin_write(&now);
    screen.until(|now| count(now, Progressed::Written) > 0);
    screen.handle.stop();
    screen.until(|now| now.unfinished.is_some());
    screen.handle.send(Command::Disconnect);
    let looks = screen.handle.look().0.looks;
    let port = format!("sim:{}", screen.folder.path().join("bench.toml").display());
    screen.handle.send(Command::Connect(port.parse().unwrap(), Wanted::default()));
    let now = screen.until(|now| now.looks == looks + 1);
    let doubtful = count(&now, Progressed::Doubtful) + count(&now, Progressed::Waiting);
    let unfinished = now.unfinished.clone().unwrap();
    assert_eq!(unfinished.written + doubtful, 10, "the same bench: {unfinished:?}");
    let mut later = screen.again();
    let now = later.connect();
    assert!(now.unfinished.is_none(), "a new one holds nothing of it");
}

#[test]
fn a_screen_that_hangs_up_in_a_write_leaves_it_finished() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    screen.begin_write(&now);
    screen.until(|now| now.doing == Doing::Job("write"));
    screen.handle.hung_up();
    assert_eq!(screen.handle.join(), 0);
    assert!(screen.history().iter().any(|line| line.event == "written"));
}

#[test]
fn a_write_without_the_label_changes_nothing_and_keeps_the_plan() {
    let mut screen = screen();
    screen.connect();
    let now = screen.plan(Some("@blank"), None);
    let now = screen.job("write", write_of(&now, "PT #0002"));
    assert!(screen.said("PT #0002 was confirmed"), "{:?}", screen.items);
    assert!(now.plan.is_some() && now.write_end.is_none() && now.unfinished.is_none());
}

#[test]
fn leave_to_write_shows_while_it_lasts() {
    let mut screen = screen();
    screen.connect();
    screen
        .handle
        .send(Command::Run("identify", Job::Identify(crate::app::IdentifyOptions::default())));
    let now = screen.until(|now| now.ended == 2);
    assert!(now.leave.is_none(), "taken back at the end");
    let now = screen.plan(Some("@blank"), None);
    screen.begin_write(&now);
    let now = screen.until(|now| now.map[0].in_hand.is_some() && now.leave.is_some());
    assert_eq!(now.leave.unwrap().space, None, "no person has asked for it");
    let now = screen.until(|now| now.doing == Doing::Nothing && now.last_code.is_some());
    assert!(now.leave.is_none() && now.map[0].in_hand.is_none());
}
