//! The write under way: sector by sector, with what its work has taken so far.

use super::handle::Shared;
use super::pace::{At, Pace, Rest};
use super::planned::{PlannedPart, Progressed};
use super::snapshot::Snapshot;
use crate::bus::WordAddress;
use crate::jobs::{BlockState, CHECKS_AFTER, CHECKS_BEFORE, WRITES};
use std::time::{Duration, Instant};

/// What the write is at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Phase {
    /// Everything before the first sector.
    #[default]
    Before,
    /// The sectors.
    Sectors,
    /// Power cycle and comparison.
    After,
}

/// The sector in hand.
#[derive(Clone, Copy, Debug)]
struct Hand {
    space: usize,
    at: usize,
    since: Instant,
    /// Since when it is programmed.
    programmed: Option<Instant>,
    /// Bytes that are in.
    done: u64,
}

/// A write.
#[derive(Debug, Default)]
pub(super) struct Writing {
    /// The plan's code.
    pub(super) plan: String,
    pace: Pace,
    phase: Phase,
    rail_on: Option<Instant>,
    /// Since when something goes on that no other write needs, and how long such things took.
    aside: Option<Instant>,
    aside_took: Duration,
    hand: Option<Hand>,
    /// Bytes of the sectors of this pass that are done.
    done: u64,
    /// Since when every sector is written.
    proving: Option<Instant>,
}

fn index_of(snapshot: &Snapshot, space: &str) -> Option<usize> {
    snapshot.sheet.as_ref()?.spaces.iter().position(|one| one.name == space)
}

/// The planned sector at a word on the bus.
fn find(snapshot: &Snapshot, space: &str, address: WordAddress) -> Option<(usize, usize)> {
    let index = index_of(snapshot, space)?;
    let base = snapshot.sheet.as_ref()?.spaces.get(index)?.base;
    let at = snapshot.map.get(index)?.planned_at(address.0.wrapping_sub(base.0))?;
    Some((index, at))
}

/// All sectors that are still to be written, but for the one in hand.
fn rest(snapshot: &Snapshot) -> Rest {
    let mut rest = Rest::default();
    for map in &snapshot.map {
        let left = map.planned.iter().enumerate();
        for (_, part) in left.filter(|(at, part)| part.is_left() && map.in_hand != Some(*at)) {
            rest.erases += u32::from(part.erases);
            rest.bytes += part.bytes;
        }
    }
    rest
}

impl Writing {
    /// The write of a plan.
    pub(super) fn new(plan: String) -> Self {
        Self { plan, ..Self::default() }
    }

    /// The rail is on.
    pub(super) fn rail_on(&mut self, now: Instant) {
        self.rail_on.get_or_insert(now);
    }

    /// A pass begins; true if it is one that every write has.
    pub(super) fn pass(&mut self, what: &str, now: Instant) -> bool {
        if let Some(since) = self.aside.take() {
            self.aside_took += now.duration_since(since);
        }
        match what {
            CHECKS_BEFORE => {}
            WRITES => {
                self.done = 0;
                if self.phase == Phase::Before
                    && let Some(since) = self.rail_on
                {
                    self.pace.led(now.duration_since(since).saturating_sub(self.aside_took));
                }
                self.phase = Phase::Sectors;
            }
            CHECKS_AFTER => self.phase = Phase::After,
            _ => self.aside = Some(now),
        }
        self.aside.is_none()
    }

    /// True while sectors are written.
    pub(super) fn is_at_sectors(&self) -> bool {
        self.phase == Phase::Sectors
    }

    /// True once the sectors are behind it.
    pub(super) fn is_after(&self) -> bool {
        self.proving.is_some()
    }

    /// A sector is in hand.
    pub(super) fn in_hand(
        &mut self,
        shared: &mut Shared,
        space: &str,
        at: WordAddress,
        now: Instant,
    ) {
        let Some((space, at)) = find(&shared.snapshot, space, at) else { return };
        let map = &mut shared.snapshot.map[space];
        map.in_hand = Some(at);
        let erases = map.planned.get(at).is_some_and(|part| part.erases);
        let programmed = (!erases).then_some(now);
        self.hand = Some(Hand { space, at, since: now, programmed, done: 0 });
    }

    /// So many bytes have moved; true if they are the write's own.
    pub(super) fn moved(&mut self, count: u64) -> bool {
        if let Some(hand) = self.hand.as_mut().filter(|hand| hand.programmed.is_some()) {
            hand.done += count;
        }
        self.phase == Phase::Sectors
    }

    /// A sector has a new state.
    pub(super) fn block(
        &mut self,
        shared: &mut Shared,
        (space, address): (&str, u32),
        state: BlockState,
        now: Instant,
    ) {
        let Some((space, at)) = find(&shared.snapshot, space, WordAddress(address)) else { return };
        let map = &mut shared.snapshot.map[space];
        let Some(part) = map.planned.get(at).copied() else { return };
        let to = match (state, self.phase) {
            (BlockState::Erased, _) => Progressed::Erased,
            (BlockState::Written, _) => Progressed::Written,
            (BlockState::Failed, _) | (BlockState::Differs, Phase::After) => Progressed::Failed,
            (BlockState::Same, Phase::After) => Progressed::Verified,
            // It holds what it is to hold already.
            (BlockState::Same, _) if !part.changes() => Progressed::Verified,
            (BlockState::Differs, _) => Progressed::Doubtful,
            _ => return,
        };
        map.progressed(at, to);
        if state == BlockState::Erased {
            self.erased(now);
        }
        if matches!(state, BlockState::Written | BlockState::Failed) {
            map.in_hand = None;
            let size = bytes_of(&shared.snapshot, space, &part);
            self.finished(size, &part, state == BlockState::Written, now);
        }
        if self.phase == Phase::Sectors && self.hand.is_none() && rest(&shared.snapshot).is_none() {
            self.proving.get_or_insert(now);
        }
    }

    fn erased(&mut self, now: Instant) {
        if let Some(hand) = &mut self.hand {
            self.pace.erased(now.duration_since(hand.since));
            (hand.programmed, hand.done) = (Some(now), 0);
        }
    }

    fn finished(&mut self, size: u64, part: &PlannedPart, good: bool, now: Instant) {
        let Some(hand) = self.hand.take() else { return };
        self.done += size;
        match hand.programmed {
            Some(since) if good && part.bytes > 0 => {
                self.pace.programmed(part.bytes, now.duration_since(since));
            }
            // It erases itself while it is programmed.
            None if good => self.pace.erased(now.duration_since(hand.since)),
            _ => {}
        }
    }

    /// Bytes of this pass that are done.
    pub(super) fn done(&self, snapshot: &Snapshot) -> u64 {
        let part = |hand: &Hand| {
            let part = snapshot.map.get(hand.space)?.planned.get(hand.at)?;
            let done = hand.done.min(part.bytes);
            (bytes_of(snapshot, hand.space, part) * done).checked_div(part.bytes)
        };
        self.done + self.hand.as_ref().and_then(part).unwrap_or(0)
    }

    /// The time to the end of everything, if anybody can tell.
    pub(super) fn left(&self, snapshot: &Snapshot, now: Instant) -> Option<Duration> {
        let part = |hand: &Hand| snapshot.map.get(hand.space)?.planned.get(hand.at);
        let at = match (&self.hand, self.proving) {
            (_, Some(since)) => At::Proving { since: now.duration_since(since) },
            (None, None) => At::Between,
            (Some(hand), None) => {
                let bytes = part(hand).map_or(0, |part| part.bytes);
                match hand.programmed {
                    None => At::Erasing { since: now.duration_since(hand.since), bytes },
                    Some(since) => {
                        let done = hand.done.min(bytes);
                        let since = now.duration_since(since);
                        At::Programming { since, done, left: bytes - done }
                    }
                }
            }
        };
        self.pace.left(rest(snapshot), at)
    }

    /// The job is over: what is in hand still was broken off.
    pub(super) fn end(self, snapshot: &mut Snapshot) {
        for map in &mut snapshot.map {
            map.in_hand = None;
        }
        if let Some(Hand { space, at, .. }) = self.hand
            && let Some(map) = snapshot.map.get_mut(space)
        {
            map.progressed(at, Progressed::Doubtful);
        }
    }

    /// The number of the sector in hand and how many there are, where sectors are written.
    pub(super) fn count(&self, snapshot: &Snapshot) -> Option<(usize, usize)> {
        let map = snapshot.map.get(self.hand?.space)?;
        let all = map.planned.iter().filter(|part| part.changes());
        let done = all.clone().filter(|part| !part.is_left()).count();
        Some((done + 1, all.count()))
    }
}

fn bytes_of(snapshot: &Snapshot, space: usize, part: &PlannedPart) -> u64 {
    let bits = snapshot.sheet.as_ref().and_then(|sheet| sheet.spaces.get(space));
    u64::from(part.words) * u64::from(bits.map_or(8, |space| space.bits) / 8)
}
