//! Folds what a job tells into what the screen shows.

use super::facts::{adapter, facts, found, lay_over};
use super::handle::{Item, Line, Shared, Tone};
use super::map::SpaceMap;
use super::pass::Pass;
use super::planned::{PlanFacts, WriteEnd};
use super::snapshot::{Doing, Held, Leave, Phase, Rail, Snapshot};
use super::writing::Writing;
use super::{Image, Mark};
use crate::app::{Event, sentence};
use crate::bus::WordAddress;
use crate::chips::Act;
use crate::image::in_keys;
use crate::jobs::{Answer, Arrival, BlockState};
use jiff::ZonedDateTime;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// What a fold keeps between events and the screen does not see.
#[derive(Default)]
#[expect(clippy::struct_excessive_bools, reason = "each of them can come with any other")]
pub(super) struct Fold {
    pass: Option<Pass>,
    /// How the job ended; told together with its end, so that nobody sees one without the other.
    last: Option<Item>,
    /// How the write ended, told with that.
    write_end: Option<Arc<WriteEnd>>,
    /// The write under way.
    writing: Option<Writing>,
    /// The last write has changed something.
    pub(super) changed: bool,
    /// The session's notes that are worth no line in the log.
    pub(super) quiet: bool,
    /// The job compares the module with its last copy.
    pub(super) compares: bool,
    /// A capture may come, and has not read anything yet: the map still shows what was known before.
    before: bool,
    /// The capture that leads back from the write under way.
    leads_back: String,
}

/// A line of the log, now; what it advises is said in keys.
pub(super) fn line(tone: Tone, text: impl AsRef<str>) -> Item {
    let time = ZonedDateTime::now().strftime("%H:%M:%S").to_string();
    Item::Line(Line { time, tone, text: in_keys(text.as_ref()) })
}

impl Fold {
    /// A job begins.
    pub(super) fn begin(&mut self, shared: &mut Shared, doing: Doing) {
        let snapshot = &mut shared.snapshot;
        if doing == Doing::Job("plan") {
            snapshot.plan_refused = None;
        }
        self.before = matches!(doing, Doing::Job("capture" | "plan"));
        snapshot.doing = doing;
        snapshot.stopping = None;
        snapshot.progress = None;
        self.pass = None;
        (self.writing, self.changed) = (None, false);
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
                if let Some(writing) = self.writing.as_mut().filter(|_| *on) {
                    writing.rail_on(Instant::now());
                }
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
                let now = Instant::now();
                if let Some(writing) = &mut self.writing {
                    writing.block(shared, (space, *address), *state, now);
                    self.sectors(shared, now);
                }
                Self::block(shared, space, *address, *state);
                if self.compares && *state == BlockState::Differs {
                    Self::differs(shared, space, *address);
                }
                return;
            }
            Event::Stopping { within_ms } => {
                snapshot.stopping = Some(*within_ms);
                self.end_pass(shared);
            }
            Event::Finished(outcome) => {
                self.end_pass(shared);
                shared.snapshot.last_code = Some(outcome.code);
                if let Some(writing) = self.writing.as_ref().filter(|_| self.changed) {
                    let (plan, code) = (writing.plan.clone(), outcome.code);
                    let backup = self.leads_back.clone();
                    let end = WriteEnd {
                        plan,
                        code,
                        text: in_keys(&said(&outcome.text, &LATER)),
                        backup,
                    };
                    self.write_end = Some(Arc::new(end));
                }
                let refused = matches!(outcome.code, 2 | 4) && outcome.report.is_none();
                if refused && shared.snapshot.doing == Doing::Job("plan") {
                    shared.snapshot.plan_refused = Some(Arc::new(in_keys(&outcome.text)));
                }
                let tone = if outcome.code == 0 { Tone::Good } else { Tone::Trouble };
                if !(self.quiet && outcome.code == 0) {
                    let mut text = said(&outcome.text, &ELSEWHERE);
                    if shared.snapshot.doing == Doing::Job("plan") && outcome.report.is_some() {
                        // The rest is for the review.
                        text.truncate(text.find('\n').unwrap_or(text.len()));
                    } else if shared.snapshot.doing == Doing::Job("verify") {
                        text = answer_last(&text);
                    }
                    self.last = Some(line(tone, text));
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
        if what == WORDS {
            self.forget(shared);
        }
        let now = Instant::now();
        let ours = self.writing.as_mut().is_some_and(|writing| writing.pass(what, now));
        let label = if ours {
            format!("{space}: {what}")
        } else {
            format!("{space}: pass {number}, {what}")
        };
        let mut pass = Pass::new(label, bytes, now);
        shared.snapshot.progress = Some(pass.moved(0, now));
        self.pass = Some(pass);
        for map in &mut shared.snapshot.map {
            map.under_way = None;
        }
        if let Some((_, map)) = space_of(shared, space) {
            map.begin(number);
        }
    }

    /// A capture reads its first words now: what an earlier one has found is not what it finds.
    fn forget(&mut self, shared: &mut Shared) {
        if std::mem::take(&mut self.before) {
            shared.snapshot.map.iter_mut().for_each(|map| map.changed(0, map.words));
        }
    }

    /// The module does not hold what its last copy says.
    fn differs(shared: &mut Shared, space: &str, address: u32) {
        let Some(sheet) = shared.snapshot.sheet.clone() else { return };
        let Some((index, map)) = space_of(shared, space) else { return };
        map.changed(address.wrapping_sub(sheet.spaces[index].base.0), 1);
    }

    /// The progress of sectors that are being written.
    fn sectors(&mut self, shared: &mut Shared, now: Instant) {
        let Some(writing) = self.writing.as_ref().filter(|one| one.is_at_sectors()) else { return };
        let Some(pass) = &mut self.pass else { return };
        let mut progress = pass.at(writing.done(&shared.snapshot), now);
        progress.left_s = writing.left(&shared.snapshot, now).map(|left| left.as_secs());
        if let Some((at, of)) = writing.count(&shared.snapshot) {
            progress.label = format!("{}, {at} of {of}", pass.label);
        }
        shared.snapshot.progress = Some(progress);
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
                    (snapshot.plan, snapshot.unfinished, snapshot.laid) = (None, None, None);
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
                let now = Instant::now();
                if self.writing.as_mut().is_some_and(|writing| writing.moved(*count)) {
                    self.sectors(shared, now);
                } else if let Some(pass) = &mut self.pass {
                    let mut progress = pass.moved(*count, now);
                    if let Some(writing) = self.writing.as_ref().filter(|one| one.is_after()) {
                        let left = writing.left(&shared.snapshot, now);
                        progress.left_s = left.map(|left| left.as_secs());
                    }
                    shared.snapshot.progress = Some(progress);
                }
            }
            Arrival::Planned { plan, report } => {
                shared.snapshot.plan = Some(Arc::new(PlanFacts::new(plan, report)));
                lay_over(&mut shared.snapshot, report.code.clone(), plan, None);
            }
            Arrival::Writing { plan, told } => {
                lay_over(&mut shared.snapshot, Some(plan.code.to_string()), &plan.plan, *told);
                self.writing = Some(Writing::new(plan.code.to_string()));
                self.leads_back = plan.plan.leads_back().to_string();
            }
            Arrival::InHand { space, address } => {
                self.changed = true;
                let now = Instant::now();
                if let Some(writing) = &mut self.writing {
                    writing.in_hand(shared, space, *address, now);
                    self.sectors(shared, now);
                }
            }
            Arrival::Leave { seconds } => {
                let until = Instant::now() + Duration::from_secs(u64::from(*seconds));
                let leave = Leave { space: None, until };
                shared.snapshot.leave = (*seconds > 0).then_some(leave);
            }
            Arrival::Link(link) => shared.snapshot.link = Some(*link),
            Arrival::Identified(report) => found(&mut shared.snapshot, report),
            Arrival::Words { space, address, bytes, kept } => {
                if *kept {
                    self.forget(shared);
                }
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
        if let Answer::Written { space, address, does, .. } = answer {
            by_hand(snapshot, (*space, *address), does.map(|does| does.act));
        } else if let Answer::Held { space, address, value: Some(_), .. } = answer {
            by_hand(snapshot, (*space, *address), None);
        }
        match *answer {
            Answer::Held { space, address, value, data } => {
                snapshot.held = Some(Held { space, address, value, data });
            }
            Answer::Allowed { space, seconds, .. } => {
                let time = Duration::from_secs(u64::from(seconds));
                let until = Instant::now() + time;
                snapshot.leave = Some(Leave { space: Some(space), until });
            }
            Answer::Locked => snapshot.leave = None,
            Answer::Refused(_) | Answer::Asks { .. } => {}
            Answer::Read { .. } | Answer::Written { .. } | Answer::LetGo | Answer::Lines(_) => {
                snapshot.held = None;
            }
        }
        shared.push(Item::Answer(match answer {
            Answer::Refused(why) => Answer::Refused(in_keys(why)),
            other => other.clone(),
        }));
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
        if let Some(writing) = self.writing.take() {
            writing.end(snapshot);
        }
        if let Some(end) = self.write_end.take() {
            shared.snapshot.write_end = Some(end);
        }
        if let Some(last) = self.last.take() {
            shared.push(last);
        }
    }
}

/// A cycle by hand has written at a word on the bus.
fn by_hand(snapshot: &mut Snapshot, (space, at): (usize, WordAddress), act: Option<Act>) {
    let base = snapshot.sheet.as_ref().and_then(|sheet| sheet.spaces.get(space)).map(|of| of.base);
    if let (Some(base), Some(map)) = (base, snapshot.map.get_mut(space)) {
        map.changed_by_hand(at.0.wrapping_sub(base.0), act);
    }
}

/// A report with its first line at its end, which is what a small window shows of a log.
fn answer_last(text: &str) -> String {
    match text.split_once('\n') {
        Some((answer, words)) => format!("{words}\n{answer}"),
        None => text.to_string(),
    }
}

/// What a pass of a capture is called that reads words.
const WORDS: &str = "words";

/// Beginnings of lines that stand in the record or at other places of the screen.
const ELSEWHERE: [&str; 4] =
    ["  SHA-256 ", "  link ", "  the way back", "  ! a changed instrument"];
/// Those that the dialog at the end of a write says in its own way.
const LATER: [&str; 2] = [ELSEWHERE[2], ELSEWHERE[3]];

/// A report without lines that begin so.
fn said(text: &str, without: &[&str]) -> String {
    let told = |line: &&str| !without.iter().any(|head| line.starts_with(head));
    text.lines().filter(told).collect::<Vec<_>>().join("\n")
}

fn space_of<'a>(shared: &'a mut Shared, space: &str) -> Option<(usize, &'a mut SpaceMap)> {
    let sheet = shared.snapshot.sheet.as_ref()?;
    let index = sheet.spaces.iter().position(|one| one.name == space)?;
    Some((index, shared.snapshot.map.get_mut(index)?))
}
