//! Timers: the dead-man, the way back to the reset rate, the trial of a new rate.

use super::Adapter;
use super::lines::LineState;
use crate::bus::script::Abort;
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
        let watched = self.rail.is_closed() && !self.dead_man_waits;
        let dead_man = watched.then(|| self.last_good + DEAD_MAN);
        let back = self.tx.coming_rate() != self.config.reset_rate;
        let silence = back.then(|| self.last_good + SILENCE);
        let trial = self.trial.map(|trial| trial.until);
        [dead_man, silence, trial, self.lines.until].into_iter().flatten().min()
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
        let watched = self.rail.is_closed() && !self.dead_man_waits;
        if watched && self.last_good + DEAD_MAN <= t {
            self.nobody_there(t);
        }
        if self.lines.until.is_some_and(|until| until <= t) {
            self.lines = LineState::default();
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

    /// Everything that waits is halted, a RAIL too: nobody is there who could switch it off again.
    /// A run at work comes to its end before the rail goes off.
    fn nobody_there(&mut self, t: Nanos) {
        self.books.violation(t, HostViolation::DeadMan);
        self.halt_runs();
        self.refuse_waiting(FaultCode::HALTED, 0, |_| true);
        self.dead_man_waits = self.abort_run(t, Abort::DeadMan);
        if !self.dead_man_waits {
            self.dead_man(t);
        }
    }

    /// The dead-man switches the rail off.
    pub(super) fn dead_man(&mut self, t: Nanos) {
        self.books.rail(t, false, RailWhy::DeadMan);
        self.rail.open(t);
        self.chain.halt();
        self.permits.clear();
        self.let_go();
        self.socket.power(t, self.rail.rests_at());
        if let Some(work) = self.work.take_if(|work| work.ends_with_supply()) {
            self.session.ending = false;
            self.answer(work.tag, &work.fault(FaultCode::HALTED, 0), None);
        }
    }
}
