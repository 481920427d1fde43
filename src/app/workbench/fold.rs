//! Folds what a job tells into what the screen shows.

use super::handle::{Item, Line, Shared, Tone};
use super::map::SpaceMap;
use super::snapshot::{
    AdapterFacts, ChipFacts, Doing, Held, Phase, Progress, Rail, SheetFacts, Snapshot, SpaceFacts,
    ZoneFacts,
};
use super::{Image, Mark};
use crate::app::{Event, sentence};
use crate::jobs::{Answer, Arrival, BlockState, ChipReport, IdentifyReport, SpaceReport};
use crate::module::Sheet;
use crate::wire::HelloReply;
use jiff::ZonedDateTime;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The rate now is that of the last stretch so long.
const STRETCH: Duration = Duration::from_secs(3);

/// More sectors than any chip has that the map is made for; beyond, it shows blocks.
const SECTORS_MAX: u32 = 4_096;

/// The pass under way, with the times of its progress.
pub(super) struct Pass {
    label: String,
    done: u64,
    all: u64,
    begun: Instant,
    marks: VecDeque<(Instant, u64)>,
}

/// What a fold keeps between events and the screen does not see.
#[derive(Default)]
pub(super) struct Fold {
    pass: Option<Pass>,
    /// How the job ended; told together with its end, so that nobody sees one without the other.
    last: Option<Item>,
    /// The session's notes that are worth no line in the log.
    pub(super) quiet: bool,
}

/// A line of the log, now.
pub(super) fn line(tone: Tone, text: impl Into<String>) -> Item {
    let time = ZonedDateTime::now().strftime("%H:%M:%S").to_string();
    Item::Line(Line { time, tone, text: text.into() })
}

impl Pass {
    fn moved(&mut self, count: u64, now: Instant) -> Progress {
        self.done = (self.done + count).min(self.all);
        if self.marks.back().is_none_or(|(at, _)| now.duration_since(*at).as_millis() >= 200) {
            self.marks.push_back((now, self.done));
        }
        while self.marks.len() > 2 && now.duration_since(self.marks[1].0) >= STRETCH {
            self.marks.pop_front();
        }
        let rate = |since: Instant, bytes: u64| {
            let ms = now.duration_since(since).as_millis() as u64;
            if ms < 100 { 0 } else { bytes * 1_000 / ms }
        };
        let (at, done) = self.marks.front().copied().unwrap_or((self.begun, 0));
        let rate_mean = rate(self.begun, self.done);
        let enough = now.duration_since(self.begun).as_millis() >= 1_000 && rate_mean > 0;
        Progress {
            label: self.label.clone(),
            done: self.done,
            all: self.all,
            rate_now: rate(at, self.done - done),
            rate_mean,
            left_s: enough.then(|| (self.all - self.done).div_ceil(rate_mean.max(1))),
        }
    }

    fn summary(&self, now: Instant) -> String {
        let took = now.duration_since(self.begun);
        let size = humansize::format_size(self.done, humansize::BINARY);
        let ms = took.as_millis().max(1) as u64;
        let rate = humansize::format_size(self.done * 1_000 / ms, humansize::BINARY);
        format!("{}: {size} in {}, {rate}/s", self.label, seconds(took))
    }
}

fn seconds(took: Duration) -> String {
    let tenths = took.as_millis() / 100;
    match tenths {
        0..600 => format!("{}.{} s", tenths / 10, tenths % 10),
        _ => format!("{} min {} s", tenths / 600, tenths / 10 % 60),
    }
}

impl Fold {
    /// A job begins.
    pub(super) fn begin(&mut self, shared: &mut Shared, doing: Doing) {
        let snapshot = &mut shared.snapshot;
        snapshot.doing = doing;
        snapshot.stopping = None;
        snapshot.progress = None;
        self.pass = None;
    }

    /// A job tells an event.
    pub(super) fn event(&mut self, shared: &mut Shared, event: &Event) {
        let snapshot = &mut shared.snapshot;
        match event {
            Event::Connected { baud, .. } => {
                if let Some(adapter) = &mut snapshot.adapter {
                    adapter.baud = *baud;
                }
                snapshot.phase = Phase::Ready;
            }
            Event::Rail { on, mv, measured } => {
                self.end_pass(shared);
                let snapshot = &mut shared.snapshot;
                let (mv, measured) = (*mv, *measured);
                snapshot.rail =
                    if *on { Rail::On { mv, measured } } else { Rail::Off { mv, measured } };
                if !on {
                    snapshot.leave = None;
                    snapshot.held = None;
                }
            }
            Event::RailUnknown => snapshot.rail = Rail::Unknown,
            Event::Pass { space, number, what, bytes } => {
                self.end_pass(shared);
                self.begin_pass(shared, space, *number, what, *bytes);
                return;
            }
            Event::Block { space, address, state, .. } => {
                Self::block(shared, space, *address, *state);
                return;
            }
            Event::Stopping { within_ms } => {
                snapshot.stopping = Some(*within_ms);
                self.end_pass(shared);
            }
            Event::Finished(outcome) => {
                self.end_pass(shared);
                shared.snapshot.last_code = Some(outcome.code);
                let tone = if outcome.code == 0 { Tone::Good } else { Tone::Trouble };
                if !(self.quiet && outcome.code == 0) {
                    self.last = Some(line(tone, short(&outcome.text)));
                }
                return;
            }
            Event::Resumed { .. } | Event::Note { .. } | Event::Caution { .. } => {}
        }
        if let Some(text) = sentence(event) {
            let tone = match event {
                Event::RailUnknown | Event::Note { .. } | Event::Caution { .. } => Tone::Trouble,
                _ => Tone::Plain,
            };
            shared.push(line(tone, text));
        }
    }

    fn begin_pass(
        &mut self,
        shared: &mut Shared,
        space: &str,
        number: u32,
        what: &str,
        bytes: u64,
    ) {
        let now = Instant::now();
        let label = format!("{space}: pass {number}, {what}");
        let marks = VecDeque::from([(now, 0)]);
        let mut pass = Pass { label, done: 0, all: bytes, begun: now, marks };
        shared.snapshot.progress = Some(pass.moved(0, now));
        self.pass = Some(pass);
        for map in &mut shared.snapshot.map {
            map.under_way = None;
        }
        if let Some((_, map)) = space_of(shared, space) {
            map.begin(number);
        }
    }

    fn end_pass(&mut self, shared: &mut Shared) {
        shared.snapshot.map.iter_mut().for_each(|map| map.under_way = None);
        shared.snapshot.progress = None;
        if let Some(pass) = self.pass.take() {
            shared.push(line(Tone::Plain, pass.summary(Instant::now())));
        }
    }

    fn block(shared: &mut Shared, space: &str, address: u32, state: BlockState) {
        let Some(sheet) = shared.snapshot.sheet.clone() else { return };
        let Some((index, map)) = space_of(shared, space) else { return };
        let facts = &sheet.spaces[index];
        let at = address.wrapping_sub(facts.base.0) / map.block_words.max(1);
        map.put(at as usize, state);
        if state == BlockState::Unsteady {
            // All zeros or all ones in two passes that disagree: the words are what the lines
            // were charged to.
            let first = at * map.block_words;
            let count = map.block_words as usize;
            let words = shared.image.words(index, facts.bits, first, count);
            let ones = u32::MAX >> (32 - facts.bits);
            let nobody = words.iter().all(|&word| word == 0) || words.iter().all(|&w| w == ones);
            let cell = shared.snapshot.map[index].cells.get_mut(at as usize);
            if let Some(cell) = cell.filter(|_| nobody) {
                cell.mark = Mark::Nobody;
            }
            let text = format!("{space}: the block at word 0x{address:X} does not hold still");
            shared.push(line(Tone::Trouble, text));
        }
    }

    /// Something has come in.
    pub(super) fn arrival(&mut self, shared: &mut Shared, arrival: &Arrival<'_>) {
        match arrival {
            Arrival::Adapter(hello) => {
                shared.snapshot.adapter = Some(adapter(hello));
            }
            Arrival::Bench { sheet, specimen, simulated } => {
                let facts = facts(sheet);
                let specimen = specimen.map(ToString::to_string);
                let snapshot = &mut shared.snapshot;
                let same = snapshot.sheet.as_deref() == Some(&facts)
                    && snapshot.specimen == specimen
                    && snapshot.map.len() == facts.spaces.len();
                if !same {
                    snapshot.map = facts.spaces.iter().map(SpaceMap::new).collect();
                    shared.image = Image::of(&facts);
                    snapshot.sheet = Some(Arc::new(facts));
                    snapshot.specimen = specimen;
                    snapshot.chips.clear();
                }
                snapshot.simulated = *simulated;
            }
            Arrival::RailOff { mv, measured } => {
                let (mv, measured) = (*mv, *measured);
                // What a person has measured, no declaration makes doubtful.
                if measured || shared.snapshot.rail != Rail::OffConfirmed {
                    shared.snapshot.rail = Rail::Off { mv, measured };
                }
            }
            Arrival::Bytes { count, link } => {
                shared.snapshot.link = Some(*link);
                if let Some(pass) = &mut self.pass {
                    shared.snapshot.progress = Some(pass.moved(*count, Instant::now()));
                }
            }
            Arrival::Link(link) => shared.snapshot.link = Some(*link),
            Arrival::Identified(report) => found(&mut shared.snapshot, report),
            Arrival::Words { space, address, bytes, kept } => {
                let Some(sheet) = shared.snapshot.sheet.clone() else { return };
                let Some((index, map)) = space_of(shared, space) else { return };
                let facts = &sheet.spaces[index];
                if *kept {
                    let at = address.0.wrapping_sub(facts.base.0) / map.block_words.max(1);
                    map.put(at as usize, BlockState::ReadOnce);
                }
                shared.image.put(index, facts, *address, bytes);
            }
        }
    }

    /// An order by hand has its answer.
    pub(super) fn answer(shared: &mut Shared, answer: &Answer) {
        let snapshot = &mut shared.snapshot;
        match *answer {
            Answer::Held { space, address, value, data } => {
                snapshot.held = Some(Held { space, address, value, data });
            }
            Answer::Allowed { space, seconds, .. } => {
                let time = Duration::from_secs(u64::from(seconds));
                snapshot.leave = Some((space, Instant::now() + time));
            }
            Answer::Locked => snapshot.leave = None,
            Answer::Refused(_) | Answer::Asks { .. } => {}
            Answer::Read { .. } | Answer::Written { .. } | Answer::LetGo | Answer::Lines(_) => {
                snapshot.held = None;
            }
        }
        shared.push(Item::Answer(answer.clone()));
    }

    /// A job has come to its end; its final event has been folded.
    pub(super) fn end(&mut self, shared: &mut Shared) {
        let snapshot = &mut shared.snapshot;
        snapshot.doing = Doing::Nothing;
        snapshot.stopping = None;
        snapshot.progress = None;
        snapshot.leave = None;
        snapshot.held = None;
        snapshot.ended += 1;
        self.pass = None;
        if let Some(last) = self.last.take() {
            shared.push(last);
        }
    }
}

/// A report without what the record keeps and other places of the screen show.
fn short(text: &str) -> String {
    let told = |line: &&str| !line.starts_with("  SHA-256 ") && !line.starts_with("  link ");
    text.lines().filter(told).collect::<Vec<_>>().join("\n")
}

fn space_of<'a>(shared: &'a mut Shared, space: &str) -> Option<(usize, &'a mut SpaceMap)> {
    let sheet = shared.snapshot.sheet.as_ref()?;
    let index = sheet.spaces.iter().position(|one| one.name == space)?;
    Some((index, shared.snapshot.map.get_mut(index)?))
}

/// Chips and sectors of a report, in sheet order.
fn found(snapshot: &mut Snapshot, report: &IdentifyReport) {
    snapshot.chips.clear();
    for (space, map) in report.spaces.iter().zip(&mut snapshot.map) {
        map.sectors = sectors(space);
        snapshot.chips.extend(space.chips.iter().map(|chip| ChipFacts {
            reference: chip.reference.clone(),
            part: if chip.answered { chip.parts.join(" or ") } else { chip.presence.clone() },
            what: if chip.answered { chip.what() } else { chip.presence.clone() },
            sectors: chip.sectors.iter().map(|region| region.count).sum(),
        }));
    }
}

/// The first word of each sector of a space, where its chips agree on them.
fn sectors(space: &SpaceReport) -> Vec<u32> {
    let of_chip = |chip: &ChipReport| {
        let unit = u64::from(chip.bits / 8);
        let mut firsts = Vec::new();
        let mut at = 0;
        for region in &chip.sectors {
            for _ in 0..region.count.min(SECTORS_MAX) {
                firsts.push(u32::try_from(at).ok()?);
                at += region.bytes.checked_div(unit)?;
            }
        }
        (at == u64::from(space.words)).then_some(firsts)
    };
    let mut all = space.chips.iter().map(of_chip);
    let first = all.next().flatten().filter(|firsts| firsts.len() <= SECTORS_MAX as usize);
    match first {
        Some(firsts) if all.all(|other| other.as_ref() == Some(&firsts)) => firsts,
        _ => Vec::new(),
    }
}

fn adapter(hello: &HelloReply) -> AdapterFacts {
    AdapterFacts {
        board: hello.board.clone(),
        firmware: hello.firmware.clone(),
        baud: None,
        rail_mv: hello.rails.first().map_or(0, |mv| mv.0),
        rail_sensed: hello.rail_sensed,
        io_mv: hello.io_high.0,
        io_measured: hello.io_measured,
        control: hello.control.iter().map(|line| line.name.clone()).collect(),
        data_lines: hello.data_lines,
        address_lines: hello.address_lines,
    }
}

/// What the screen needs of a sheet.
pub fn facts(sheet: &Sheet) -> SheetFacts {
    let spaces = sheet.spaces.iter().map(|space| SpaceFacts {
        name: space.name.clone(),
        kind: space.kind,
        bits: space.width.bits(),
        base: space.base,
        words: space.words,
        battery: space.battery,
        chips: space.chips.iter().map(|chip| (chip.reference.clone(), chip.lane.mask())).collect(),
    });
    let zones = sheet.zones.iter().map(|zone| ZoneFacts {
        space: zone.space,
        name: zone.name.clone(),
        start: zone.start,
        words: zone.words,
        keep: zone.keep,
    });
    let mut pins: Vec<(String, String)> = Vec::new();
    for pin in &sheet.pins {
        let line = pin.line.to_string();
        match pins.iter_mut().find(|(of, _)| *of == line) {
            Some((_, names)) => {
                names.push(' ');
                names.push_str(&pin.pin);
            }
            None => pins.push((line, pin.pin.clone())),
        }
    }
    SheetFacts {
        name: sheet.name.clone(),
        title: sheet.title.clone(),
        rail_mv: sheet.rail.0,
        spaces: spaces.collect(),
        zones: zones.collect(),
        pins,
    }
}
