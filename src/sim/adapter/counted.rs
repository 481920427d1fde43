//! What happens right after a number of cycles.

use crate::bus::Nanos;
use crate::sim::event::Event;

/// Events that wait for cycles of scripts, and the one that has come.
#[derive(Debug)]
pub(super) struct Counted {
    cycles: u32,
    waiting: Vec<(u32, Event)>,
    /// It came in the step that was begun at this time.
    come: Option<(Nanos, Event)>,
    /// What the bench has not been told yet.
    told: Option<Event>,
}

impl Counted {
    pub(super) fn new(waiting: Vec<(u32, Event)>) -> Self {
        Self { cycles: 0, waiting, come: None, told: None }
    }

    /// A cycle was made in a step that was begun at `t`; what happens right after it.
    pub(super) fn cycle(&mut self, t: Nanos) -> Option<Event> {
        self.cycles = self.cycles.saturating_add(1);
        let now = self.waiting.iter().position(|(at, _)| *at == self.cycles)?;
        let (_, event) = self.waiting.remove(now);
        self.come = Some((t, event));
        Some(event)
    }

    /// When there is something to be done about it.
    pub(super) fn due(&self) -> Option<Nanos> {
        self.come.map(|(at, _)| at)
    }

    /// What has come; the bench will be told, too.
    pub(super) fn take(&mut self) -> Option<Event> {
        let (_, event) = self.come.take()?;
        self.told = Some(event);
        Some(event)
    }

    /// What the bench has to be told.
    pub(super) fn tell(&mut self) -> Option<Event> {
        self.told.take()
    }
}
