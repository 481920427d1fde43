//! Timers: the dead-man, the way back to the reset rate, the trial of a new rate.

use super::Adapter;
use crate::bus::{Baud, Nanos};
use crate::sim::books::{HostViolation, RailWhy};
use crate::wire::FaultCode;

/// Rail on and no good frame for so long: rail off (`docs/wire.md`, "Times").
const DEAD_MAN: Nanos = Nanos::from_secs(5);
/// No good frame for so long: back to the reset rate.
const SILENCE: Nanos = Nanos::from_secs(10);
/// A new rate without a good frame for so long: back to the old one.
const TRIAL: Nanos = Nanos::from_millis(500);

/// A new rate that no good frame has confirmed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trial {
    until: Nanos,
    back_to: Baud,
}

impl Adapter {
    pub(super) fn next_timer(&self) -> Option<Nanos> {
        let dead_man = self.rail.is_closed().then(|| self.last_good + DEAD_MAN);
        let back = self.tx.coming_rate() != self.config.reset_rate;
        let silence = back.then(|| self.last_good + SILENCE);
        let trial = self.trial.map(|trial| trial.until);
        [dead_man, silence, trial].into_iter().flatten().min()
    }

    /// A good frame has come.
    pub(super) fn heard(&mut self, t: Nanos) {
        self.last_good = t;
        self.trial = None;
    }

    /// The rate has changed because of RATE; going back needs no trial.
    pub(super) fn begin_trial(&mut self, t: Nanos, old: Baud) {
        let going_back = std::mem::take(&mut self.going_back);
        self.trial = (!going_back).then_some(Trial { until: t + TRIAL, back_to: old });
    }

    pub(super) fn check_timers(&mut self, t: Nanos) {
        if self.rail.is_closed() && self.last_good + DEAD_MAN <= t {
            self.dead_man(t);
        }
        if let Some(trial) = self.trial.take_if(|trial| trial.until <= t) {
            self.go_back(trial.back_to);
        }
        let reset_rate = self.config.reset_rate;
        if self.last_good + SILENCE <= t && self.tx.coming_rate() != reset_rate {
            self.go_back(reset_rate);
        }
    }

    fn go_back(&mut self, rate: Baud) {
        self.trial = None;
        self.going_back = true;
        self.tx.change_rate(rate);
    }

    fn dead_man(&mut self, t: Nanos) {
        self.books.violation(t, HostViolation::DeadMan);
        self.books.rail(t, false, RailWhy::DeadMan);
        self.rail.open(t);
        self.shapes.let_go();
        self.socket.power(t, self.rail.rests_at());
        // A waiting RAIL too: nobody is there who could switch it off again.
        self.refuse_waiting(FaultCode::HALTED, 0, |_| true);
        if let Some(work) = self.work.take_if(|work| work.ends_with_supply()) {
            self.session.ending = false;
            self.answer(work.tag, &work.fault(FaultCode::HALTED, 0), None);
        }
    }
}
