//! One piece of work of the core: a job, a look at the adapter, cycles by hand.

use super::core::Core;
use super::fold::{Fold, line};
use super::handle::{Command, Common, Item, Shared, Tone, lock};
use super::open::Opened;
use super::snapshot::{Doing, Phase, Rail};
use super::{Answer, by_hand};
use crate::app::jobs::run_shown;
use crate::app::wanted::{Before, ready};
use crate::app::{Event, Job, Machine, Outcome};
use crate::image::in_keys;
use crate::jobs::{Arrival, Desk, Ending, JobError, run, sample_lines};
use crate::link::{Cancel, Client, Session, drive};
use crate::shelf::OsDisk;
use serde::Serialize;
use std::cell::{Cell, RefCell};
use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// What is to be done.
pub(super) enum Work {
    /// Find the adapter; choose sheet and specimen.
    Look,
    /// A job.
    Job(Job),
    /// The level of every line, with the rail off.
    Lines,
    /// The rail on, and cycles one by one.
    ByHand,
}

impl Work {
    fn doing(&self, word: &'static str) -> Doing {
        match self {
            Self::ByHand => Doing::ByHand,
            _ => Doing::Job(word),
        }
    }
}

/// A report that says nothing: what was found is on the screen already.
#[derive(Serialize)]
pub(super) struct Seen;

impl fmt::Display for Seen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the adapter has answered")
    }
}

/// What listens to a job: the fold, the status file, the log file.
struct Ears<'a> {
    common: &'a Common,
    fold: RefCell<&'a mut Fold>,
    /// A defect was told.
    broken: Cell<bool>,
}

impl Ears<'_> {
    fn event(&self, event: &Event) {
        self.shown(|fold, shared| fold.event(shared, event));
    }

    fn arrival(&self, arrival: &Arrival<'_>) {
        self.shown(|fold, shared| fold.arrival(shared, arrival));
    }

    /// What is only shown breaks off no write: a defect of this costs the screen, not the module.
    fn shown(&self, change: impl FnOnce(&mut Fold, &mut Shared)) {
        let change = || self.common.change(|shared| change(&mut self.fold.borrow_mut(), shared));
        if catch_unwind(AssertUnwindSafe(change)).is_err() && !self.broken.replace(true) {
            let text = "a defect of this program: the screen may miss something from here on; the \
                        job goes on. Please report it";
            self.common.change(|shared| shared.push(line(Tone::Trouble, text)));
        }
    }
}

impl Core {
    /// Does `work`, called `name`, to its one outcome. A command that came meanwhile and is no
    /// order by hand is given back.
    pub(super) fn work(&mut self, name: &'static str, work: &Work) -> (Outcome, Option<Command>) {
        let cancel = Cancel::default();
        *lock(&self.common.cancel) = Some(cancel.clone());
        // A stop may have come before the line above.
        if self.orders.is_void() {
            cancel.request();
        }
        let quiet = matches!(work, Work::Look | Work::Lines);
        self.fold.quiet = quiet;
        self.fold.compares =
            matches!(work, Work::Job(Job::Verify { image, .. }) if image == "@last");
        let common = Arc::clone(&self.common);
        let fold = &mut self.fold;
        common.change(|shared| fold.begin(shared, work.doing(name)));
        self.running.begin(name, &common);
        let left = RefCell::new(None);
        let outcome = self.listen(work, cancel, &left);
        *lock(&self.common.cancel) = None;
        self.running.end(name, &outcome);
        let fold = &mut self.fold;
        common.change(|shared| {
            fold.end(shared);
            if let Some(baud) = shared.snapshot.adapter.as_ref().and_then(|found| found.baud)
                && let Some(opened) = &mut self.opened
            {
                opened.plan.remembered = Some(crate::bus::Baud(baud));
            }
            if outcome.code != 0 && matches!(work, Work::Look) {
                shared.snapshot.phase = Phase::Failed(in_keys(&outcome.text));
            }
        });
        self.after(work, &outcome);
        (outcome, left.into_inner())
    }

    /// What the shelf knows once the module is known, or was written to.
    fn after(&mut self, work: &Work, outcome: &Outcome) {
        match work {
            Work::Look if outcome.code == 0 => {
                self.look_for_unfinished();
                self.look_for_unanswered();
            }
            Work::Job(Job::Write(_) | Job::Erase(_)) => {
                if self.fold.changed {
                    // What it was made for is no longer what is there.
                    self.common.change(|shared| shared.snapshot.plan = None);
                }
                self.look_for_unfinished();
                self.tell_unproven();
            }
            _ => {}
        }
    }

    fn listen(&mut self, work: &Work, cancel: Cancel, left: &RefCell<Option<Command>>) -> Outcome {
        let Self { common, fold, opened, known, places, wanted, running, orders, log, .. } = self;
        let Some(Opened { port, plan, identity, bench, .. }) = opened else {
            let text = "no port is open: connect first".to_string();
            let outcome = Outcome { code: 2, text, report: None };
            common.change(|shared| fold.event(shared, &Event::Finished(outcome.clone())));
            return outcome;
        };
        let ears = Ears { common, fold: RefCell::new(fold), broken: Cell::new(false) };
        let mut sink = |event: &Event| {
            log.event(event);
            running.event(event);
            ears.event(event);
        };
        let mut screen = |arrival: &Arrival<'_>| ears.arrival(arrival);
        if let Work::Job(job) = work {
            let mut machine = Machine {
                port: port.as_mut(),
                plan: *plan,
                identity,
                bench: bench.as_ref(),
                known,
                cancel,
                shelf: &places.shelf,
            };
            return run_shown(&mut machine, wanted, job, &mut sink, &mut screen, Arc::new(OsDisk));
        }
        let client = Client::new(Session::new(fastrand::u32(1..), plan.first()));
        let desk = Desk::new(client.clone(), cancel.clone(), &mut sink).with_screen(&mut screen);
        let before = Before { wanted, plan: *plan, identity, known, bench: bench.as_ref() };
        let mut tell = |answer: &Answer| common.change(|shared| Fold::answer(shared, answer));
        if matches!(work, Work::ByHand) {
            let job = by_hand::by_hand(&desk, before, &places.shelf, orders, left, &mut tell);
            let whole = run(&desk, job);
            let outcome = drive(&client, port.as_mut(), &cancel, whole);
            desk.show(&Arrival::Link(client.stats()));
            return outcome;
        }
        let whole = run(&desk, async {
            ready(&desk, before).await?;
            if matches!(work, Work::Lines) {
                let levels = sample_lines(&desk).await.map_err(JobError::from)?;
                tell(&Answer::Lines(levels));
            }
            Ok((Seen, Ending::Good))
        });
        let outcome = drive(&client, port.as_mut(), &cancel, whole);
        desk.show(&Arrival::Link(client.stats()));
        outcome
    }

    /// A sentence for the log.
    pub(super) fn say(&self, tone: Tone, text: impl AsRef<str>) {
        let item = line(tone, text);
        self.common.change(|shared| shared.push(item));
    }

    /// An order that was not followed.
    pub(super) fn refuse(&self, text: &str) {
        let item = Item::Answer(Answer::Refused(text.into()));
        self.common.change(|shared| shared.push(item));
    }

    /// A person has measured the rail.
    pub(super) fn measured(&self) {
        self.common.change(|shared| {
            if matches!(shared.snapshot.rail, Rail::Off { .. } | Rail::Unknown | Rail::NotAsked)
                && shared.snapshot.doing == Doing::Nothing
            {
                shared.snapshot.rail = Rail::OffConfirmed;
                shared.push(line(Tone::Good, "the rail was measured by hand: it is off"));
            }
        });
    }
}
