//! The core by itself, on simulated benches whose line takes no time.

mod flash;
mod fold;

use super::*;
use crate::app::{CaptureOptions, Job, Wanted};
use crate::bus::WordAddress;
use std::path::Path;
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const SHEET: &str = "format = 1\nname = \"PT\"\nrail_mv = 3300\naddress_lines = 20\n\
    [[space]]\nname = \"store\"\nkind = \"flash\"\nwidth = 32\nwords = 0x4000\n\
    select = { CS0 = \"low\" }\n\
    [[space]]\nname = \"records\"\nkind = \"ram\"\nwidth = 32\nwords = 0x1000\n\
    select = { CS1 = \"low\" }\n";

const BENCH: &str = "format = 1\nsheet = \"small.toml\"\nspecimen = \"PT #0001\"\n\
    [line]\npace = \"instant\"\n\
    [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\nwords = 0x4000\n\
    select = { CS0 = \"low\" }\n\
    [[memory]]\nkind = \"ram\"\nname = \"records\"\nwidth = 32\nwords = 0x1000\n\
    select = { CS1 = \"low\" }\n";

/// A screen's end, with everything that it was told.
pub(super) struct Screen {
    pub(super) handle: Handle,
    woken: Receiver<()>,
    pub(super) items: Vec<Item>,
    pub(super) folder: TempDir,
}

fn screen() -> Screen {
    screen_of(SHEET, BENCH)
}

/// A core with a bench and its sheet.
pub(super) fn screen_of(sheet: &str, bench: &str) -> Screen {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("small.toml"), sheet).unwrap();
    std::fs::write(folder.path().join("bench.toml"), bench).unwrap();
    screen_in(folder)
}

fn screen_in(folder: TempDir) -> Screen {
    let (wake, woken) = sync_channel(1);
    let places = Places {
        folder: folder.path().join("data"),
        shelf: folder.path().join("shelf"),
        log: None,
    };
    let handle = start(places, move || {
        let _ = wake.try_send(());
    })
    .unwrap();
    Screen { handle, woken, items: Vec::new(), folder }
}

impl Screen {
    /// Ends this core; a new one in the same folder.
    pub(super) fn again(mut self) -> Self {
        self.handle.send(Command::Quit);
        self.handle.join();
        screen_in(self.folder)
    }

    pub(super) fn connect(&mut self) -> Snapshot {
        let port = format!("sim:{}", self.folder.path().join("bench.toml").display());
        self.handle.send(Command::Connect(port.parse().unwrap(), Wanted::default()));
        self.until(|now| now.looks == 1 && now.doing == Doing::Nothing)
    }

    pub(super) fn until(&mut self, done: impl Fn(&Snapshot) -> bool) -> Snapshot {
        self.wait(|now, _| done(now))
    }

    pub(super) fn wait(&mut self, done: impl Fn(&Snapshot, &[Item]) -> bool) -> Snapshot {
        let limit = Instant::now() + Duration::from_secs(60);
        loop {
            let (now, items) = self.handle.look();
            self.items.extend(items);
            if done(&now, &self.items) {
                return now;
            }
            assert!(Instant::now() < limit, "{now:?}\n{:?}", self.items);
            let _ = self.woken.recv_timeout(Duration::from_secs(1));
        }
    }

    /// The next answer.
    fn order(&mut self, order: Order) -> Answer {
        self.items.clear();
        self.handle.send(Command::Order(order));
        let found = |items: &[Item]| {
            items.iter().find_map(|item| match item {
                Item::Answer(answer) => Some(answer.clone()),
                Item::Line(_) => None,
            })
        };
        self.wait(|_, items| found(items).is_some());
        found(&self.items).unwrap()
    }

    pub(super) fn said(&self, words: &str) -> bool {
        let said = |item: &Item| matches!(item, Item::Line(line) if line.text.contains(words));
        self.items.iter().any(said)
    }

    fn capture(&mut self, ended: u64) -> Snapshot {
        self.handle.send(Command::Run("capture", Job::Capture(CaptureOptions::default())));
        self.until(|now| now.ended == ended)
    }

    pub(super) fn shelf(&self) -> std::path::PathBuf {
        self.folder.path().join("shelf")
    }
}

const RECORDS: usize = 1;
const AT: WordAddress = WordAddress(0x10);

#[test]
fn connect_capture_and_quit_leave_the_rail_off() {
    let mut screen = screen();
    let now = screen.connect();
    assert_eq!((now.phase.clone(), now.simulated), (Phase::Ready, true), "{:?}", screen.items);
    assert_eq!(now.specimen.as_deref(), Some("PT #0001"));
    assert_eq!(now.map.iter().map(|map| map.cells.len()).collect::<Vec<_>>(), [1, 1]);
    let now = screen.capture(2);
    assert!(screen.said("agreed, kept as"), "{:?}", screen.items);
    assert!(now.map.iter().flat_map(|map| &map.cells).all(|cell| cell.mark == Mark::Agreed));
    assert!(matches!(now.rail, Rail::Off { measured: true, .. }), "{:?}", now.rail);
    let kept = std::fs::read(screen.shelf().join("captures/0001-001/content.bin")).unwrap();
    let first = screen.handle.words(0, 32, 0x3FFE, 9);
    let expected: Vec<_> = kept[0xFFF8..0x1_0000]
        .chunks(4)
        .map(|word| u32::from_le_bytes(word.try_into().unwrap()))
        .collect();
    assert_eq!(first, expected);
    screen.handle.send(Command::Quit);
    assert_eq!(screen.handle.join(), 0);
}

#[test]
fn by_hand_reads_hold_and_write_ram_after_a_capture_only() {
    let mut screen = screen();
    screen.connect();
    let read = Order::Read { space: RECORDS, address: AT };
    let off = screen.order(read.clone());
    assert!(matches!(&off, Answer::Refused(why) if why.contains("rail on")), "{off:?}");
    let lines = screen.order(Order::Lines);
    assert!(matches!(lines, Answer::Lines(_)), "{lines:?}");
    screen.handle.send(Command::RailOn);
    screen.until(|now| matches!(now.rail, Rail::On { .. }));
    let before = screen.order(read.clone());
    assert!(matches!(before, Answer::Read { words: [a, b], .. } if a == b), "{before:?}");
    let allow = Order::Allow { space: RECORDS, seconds: 60, changes: None };
    let early = screen.order(allow.clone());
    assert!(matches!(&early, Answer::Refused(why) if why.contains("capture first")), "{early:?}");
    // A job takes the rail over; afterwards it is off.
    let now = screen.capture(4);
    assert_eq!(now.doing, Doing::Nothing);
    assert!(matches!(now.rail, Rail::Off { .. }));
    screen.handle.send(Command::RailOn);
    screen.until(|now| matches!(now.rail, Rail::On { .. }));
    let write = Order::Write { space: RECORDS, address: AT, value: 0x1234_ABCD };
    let locked = screen.order(write.clone());
    assert!(matches!(&locked, Answer::Refused(why) if why.contains("locked")), "{locked:?}");
    assert!(matches!(screen.order(allow), Answer::Allowed { .. }));
    for value in [0x1234_ABCD, 0x5555_0000] {
        let write = Order::Write { space: RECORDS, address: AT, value };
        let written = screen.order(write);
        let words = [value; 2];
        assert_eq!(
            written,
            Answer::Written { space: RECORDS, address: AT, value, words, does: None }
        );
        // STOP ends the run chain; the next write begins a new one.
        assert_eq!(screen.order(Order::LetGo), Answer::LetGo);
    }
    // The copy on the screen says nothing of what was changed, and all of the rest.
    let marks = screen.handle.look().0.map.iter().map(|map| map.cells[0].mark).collect::<Vec<_>>();
    assert_eq!(marks, [Mark::Agreed, Mark::NotRead]);
    let flash = screen.order(Order::Write { space: 0, address: AT, value: 0 });
    assert!(matches!(&flash, Answer::Refused(why) if why.contains("locked")), "{flash:?}");
    let held = screen.order(Order::Hold { space: RECORDS, address: AT, value: None });
    assert!(matches!(held, Answer::Held { data: 0x5555_0000, .. }), "{held:?}");
    assert_eq!(screen.until(|now| now.held.is_some()).held.unwrap().address, AT);
    let held = screen.order(Order::Hold { space: RECORDS, address: AT, value: Some(0x77) });
    assert!(matches!(held, Answer::Held { data: 0x77, .. }), "{held:?}");
    assert_eq!(screen.order(Order::Lock), Answer::Locked);
    assert!(matches!(screen.order(write), Answer::Refused(_)));
    let outside = screen.order(Order::Read { space: RECORDS, address: WordAddress(0x1000) });
    assert!(matches!(&outside, Answer::Refused(why) if why.contains("no word")), "{outside:?}");
    screen.handle.send(Command::RailOff);
    let now = screen.until(|now| now.doing == Doing::Nothing);
    assert!(matches!(now.rail, Rail::Off { .. }) && now.leave.is_none());
    assert!(screen.said("3 written"), "{:?}", screen.items);
    let history = screen.shelf().join("histories/0001_pt.jsonl");
    assert!(read_to_string(&history).contains("written-by-hand"));
}

fn read_to_string(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn a_stop_makes_void_what_waits_and_takes_the_rail_off() {
    let mut screen = screen();
    screen.connect();
    screen.handle.send(Command::RailOn);
    screen.until(|now| matches!(now.rail, Rail::On { .. }));
    screen.handle.send(Command::Order(Order::Read { space: 0, address: AT }));
    screen.handle.stop();
    let now = screen.until(|now| now.doing == Doing::Nothing);
    assert!(matches!(now.rail, Rail::Off { .. }), "{:?}", now.rail);
    assert!(screen.said("stopped on request"), "{:?}", screen.items);
    assert_eq!(now.last_code, Some(130));
}

#[test]
fn a_screen_that_hangs_up_ends_the_core_after_the_job() {
    let mut screen = screen();
    screen.connect();
    screen.handle.send(Command::Run("capture", Job::Capture(CaptureOptions::default())));
    screen.handle.hung_up();
    let shelf = screen.shelf();
    let folder = screen.folder;
    assert_eq!(screen.handle.join(), 0);
    assert!(shelf.join("captures/0001-001/record.toml").exists());
    drop(folder);
}

#[test]
fn a_port_that_cannot_be_opened_says_so() {
    let mut screen = screen();
    screen.handle.send(Command::Connect("/dev/no-such".parse().unwrap(), Wanted::default()));
    let now = screen.until(|now| matches!(now.phase, Phase::Failed(_)));
    assert!(
        matches!(&now.phase, Phase::Failed(why) if why.ends_with("no such port; p lists what is there"))
    );
}
