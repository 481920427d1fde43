//! The module's supply as the adapter switches and measures it.

use super::config::RailModel;
use crate::bus::{Millivolts, Nanos};
use crate::wire::{FaultCode, RailState};

/// Below this the module counts as without supply (`docs/wire.md`, "The rail").
const OFF_BELOW: u16 = 300;
/// Where a rail stays that something feeds.
const FED: u16 = 900;
/// The longest wait for the rail to fall; the whole wait of a board without sense.
const FALL_LIMIT: Nanos = Nanos::from_secs(2);
/// The rail has settled when two measurements so far apart agree.
const STEADY: Nanos = Nanos::from_millis(1);

/// A voltage that goes evenly from one value to another, then stays.
#[derive(Clone, Copy, Debug)]
struct Ramp {
    from: u16,
    to: u16,
    start: Nanos,
    time: Nanos,
}

impl Ramp {
    const fn still(mv: u16) -> Self {
        Self { from: mv, to: mv, start: Nanos::ZERO, time: Nanos::ZERO }
    }

    fn at(&self, t: Nanos) -> u16 {
        let gone = t.since(self.start).0;
        if gone >= self.time.0 {
            return self.to;
        }
        let way = i128::from(self.to) - i128::from(self.from);
        let mv = i128::from(self.from) + way * i128::from(gone) / i128::from(self.time.0);
        u16::try_from(mv).unwrap_or(self.to)
    }

    /// When a falling ramp is below `mv`, if ever.
    fn below(&self, mv: u16) -> Option<Nanos> {
        if self.from < mv {
            Some(self.start)
        } else if self.to >= mv {
            None
        } else {
            let way = u128::from(self.from - self.to);
            let part = u128::from(self.from - mv + 1) * u128::from(self.time.0);
            Some(self.start + Nanos(part.div_ceil(way) as u64))
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Open,
    Rising,
    On,
    Tripped,
}

/// The supply of the module.
#[derive(Debug)]
pub(super) struct Rail {
    model: RailModel,
    sensed: bool,
    phase: Phase,
    ramp: Ramp,
    asked: Millivolts,
    floor: Millivolts,
    highest: u16,
    lowest: u16,
    /// When the switch was last opened.
    opened: Option<Nanos>,
    sag_at: Option<Nanos>,
    tripped: (FaultCode, u32),
    counter: u32,
}

impl Rail {
    pub(super) fn new(model: RailModel, sensed: bool) -> Self {
        Self {
            model,
            sensed,
            phase: Phase::Open,
            ramp: Ramp::still(0),
            asked: Millivolts(0),
            floor: Millivolts(0),
            highest: 0,
            lowest: 0,
            opened: None,
            sag_at: None,
            tripped: (FaultCode::RAIL_OFF, 0),
            counter: 0,
        }
    }

    /// The true voltage.
    pub(super) fn true_mv(&self, t: Nanos) -> Millivolts {
        Millivolts(self.ramp.at(t))
    }

    /// The voltage as the board knows it.
    pub(super) fn mv(&self, t: Nanos) -> Millivolts {
        match (self.sensed, self.phase) {
            (true, _) => self.true_mv(t),
            (false, Phase::On | Phase::Rising) => self.asked,
            (false, _) => Millivolts(0),
        }
    }

    pub(super) fn state(&self, t: Nanos) -> RailState {
        match self.phase {
            Phase::Open if self.mv(t).0 >= OFF_BELOW || t < self.unsensed_wait(t) => {
                RailState::Falling
            }
            Phase::Open => RailState::Off,
            Phase::Rising => RailState::Rising,
            Phase::On => RailState::On,
            Phase::Tripped => RailState::Tripped,
        }
    }

    pub(super) fn is_on(&self) -> bool {
        self.phase == Phase::On
    }

    /// Switched on, settled or not.
    pub(super) fn is_closed(&self) -> bool {
        matches!(self.phase, Phase::On | Phase::Rising)
    }

    pub(super) fn counter(&self) -> u32 {
        self.counter
    }

    /// Why there is no supply: code and detail for requests that need one.
    pub(super) fn why_off(&self) -> (FaultCode, u32) {
        match self.phase {
            Phase::Tripped => self.tripped,
            _ => (FaultCode::RAIL_OFF, 0),
        }
    }

    /// The lowest voltage since this was last asked.
    pub(super) fn take_lowest(&mut self, t: Nanos) -> Millivolts {
        let now = self.mv(t).0;
        if !self.sensed || !self.is_on() {
            return Millivolts(now);
        }
        Millivolts(std::mem::replace(&mut self.lowest, now).min(now))
    }

    pub(super) fn set_floor(&mut self, floor: Millivolts) {
        self.floor = floor;
    }

    /// Closes the switch; the result is when to ask for the verdict.
    pub(super) fn switch_on(
        &mut self,
        t: Nanos,
        asked: Millivolts,
        floor: Millivolts,
        settle: Nanos,
    ) -> Nanos {
        let reaches = self.model.reaches.unwrap_or(asked).0;
        let to = if self.model.rises { reaches } else { reaches / 5 };
        self.ramp = Ramp { from: self.ramp.at(t), to, start: t, time: self.model.rise };
        (self.phase, self.asked, self.floor, self.highest) = (Phase::Rising, asked, floor, 0);
        let steady = self.model.rise + STEADY;
        if self.sensed && to >= floor.0 { t + steady.min(settle) } else { t + settle }
    }

    /// Settled above the floor, or opened again: the highest voltage seen.
    pub(super) fn verdict(&mut self, t: Nanos) -> Result<(), u16> {
        let mv = self.ramp.at(t);
        if self.sensed && mv < self.floor.0 {
            let highest = self.highest.max(mv);
            self.trip(t, FaultCode::RAIL_OFF, 0);
            return Err(highest);
        }
        self.phase = Phase::On;
        self.lowest = mv;
        self.sag_at = self.model.sag.map(|(after, _)| t + after);
        Ok(())
    }

    fn trip(&mut self, t: Nanos, code: FaultCode, detail: u32) {
        self.open(t);
        self.phase = Phase::Tripped;
        self.tripped = (code, detail);
    }

    /// Opens the switch; raises the counter if it was closed.
    pub(super) fn open(&mut self, t: Nanos) {
        if self.is_closed() {
            self.counter = self.counter.wrapping_add(1);
            let to = if self.model.feeds_back { FED } else { 0 };
            self.ramp = Ramp { from: self.ramp.at(t), to, start: t, time: self.model.fall };
            self.opened = Some(t);
        }
        self.phase = Phase::Open;
        self.sag_at = None;
    }

    /// Opens the switch; the result is when to ask whether it has fallen.
    pub(super) fn switch_off(&mut self, t: Nanos) -> Nanos {
        self.open(t);
        if !self.sensed {
            return self.unsensed_wait(t);
        }
        self.ramp.below(OFF_BELOW).map_or(t + FALL_LIMIT, |when| when.max(t).min(t + FALL_LIMIT))
    }

    /// When a board without sense takes the rail for fallen: never before `t`.
    fn unsensed_wait(&self, t: Nanos) -> Nanos {
        let waits = self.opened.filter(|_| !self.sensed).map(|at| at + FALL_LIMIT);
        waits.map_or(t, |until| until.max(t))
    }

    /// Fallen, or the voltage at which it stays.
    pub(super) fn fallen(&self, t: Nanos) -> Result<(), u16> {
        let mv = self.ramp.at(t);
        if self.sensed && mv >= OFF_BELOW { Err(mv) } else { Ok(()) }
    }

    /// Where the voltage ends once the switch is open.
    pub(super) fn rests_at(&self) -> Millivolts {
        Millivolts(self.ramp.to)
    }

    /// The next sag of the model.
    pub(super) fn due(&self) -> Option<Nanos> {
        self.sag_at
    }

    /// The sag of the model, if it is due.
    pub(super) fn due_sag(&mut self, t: Nanos) -> Option<Millivolts> {
        self.sag_at.take_if(|at| *at <= t)?;
        self.model.sag.map(|(_, mv)| mv)
    }

    /// The voltage falls to `mv`; true if the adapter noticed and opened the switch.
    pub(super) fn sag(&mut self, t: Nanos, mv: Millivolts) -> bool {
        if !self.is_closed() {
            return false;
        }
        self.highest = self.highest.max(self.ramp.at(t));
        self.ramp = Ramp::still(mv.0);
        self.lowest = self.lowest.min(mv.0);
        let trips = self.is_on() && self.sensed && mv < self.floor;
        if trips {
            self.trip(t, FaultCode::RAIL_SAGGED, u32::from(mv.0));
        }
        trips
    }

    /// The current limit is reached; true if the switch was closed.
    pub(super) fn over_current(&mut self, t: Nanos) -> bool {
        let closed = self.is_closed();
        if closed {
            self.trip(t, FaultCode::OVER_CURRENT, 0);
        }
        closed
    }

    /// The controller restarts: the switch opens and the count is forgotten.
    pub(super) fn reset(&mut self, t: Nanos) {
        self.open(t);
        self.counter = 0;
        self.lowest = 0;
    }
}
