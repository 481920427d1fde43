//! What every job works with.

use super::{Arrival, Event, JobError};
use crate::link::{Cancel, Chain, Client, LinkError};
use std::cell::{Cell, RefCell};

/// What wants to see what arrives.
type Screen<'a> = RefCell<&'a mut dyn FnMut(&Arrival<'_>)>;

/// The link, the request to stop, and where events go.
pub struct Desk<'a> {
    /// The adapter.
    pub client: Client,
    /// Looked at between steps.
    pub cancel: Cancel,
    /// RAIL on was sent and rail off has not been confirmed since.
    pub(super) rail_asked: Cell<bool>,
    /// Why the rail could not be proven off after work that was done.
    pub(super) rail_unproven: RefCell<Option<LinkError>>,
    /// The run chain of the session: one for all that runs in it.
    pub(super) chain: RefCell<Chain>,
    sink: RefCell<&'a mut dyn FnMut(&Event)>,
    screen: Option<Screen<'a>>,
}

impl<'a> Desk<'a> {
    /// A desk that tells `sink` what happens.
    pub fn new(client: Client, cancel: Cancel, sink: &'a mut dyn FnMut(&Event)) -> Self {
        Self {
            chain: RefCell::new(Chain::new(client.number())),
            client,
            cancel,
            rail_asked: Cell::new(false),
            rail_unproven: RefCell::new(None),
            sink: RefCell::new(sink),
            screen: None,
        }
    }

    /// The same with a screen that wants to see what arrives.
    pub fn with_screen(self, screen: &'a mut dyn FnMut(&Arrival<'_>)) -> Self {
        Self { screen: Some(RefCell::new(screen)), ..self }
    }

    /// Shows what has arrived, where there is a screen.
    pub fn show(&self, arrival: &Arrival<'_>) {
        if let Some(screen) = &self.screen {
            (screen.borrow_mut())(arrival);
        }
    }

    /// Shows that `count` bytes of the module have been read or checked.
    pub(super) fn moved(&self, count: u64) {
        if self.screen.is_some() {
            self.show(&Arrival::Bytes { count, link: self.client.stats() });
        }
    }

    /// Tells an event.
    pub fn tell(&self, event: &Event) {
        (self.sink.borrow_mut())(event);
    }

    /// Tells a sentence.
    pub fn note(&self, text: impl Into<String>) {
        self.tell(&Event::Note { text: text.into() });
    }

    /// Tells a sentence that must not be missed.
    pub fn caution(&self, text: impl Into<String>) {
        self.tell(&Event::Caution { text: text.into() });
    }

    /// Ends the job here if that was asked for.
    pub fn check(&self) -> Result<(), JobError> {
        if self.cancel.is_requested() {
            return Err(JobError::Cancelled { at: None });
        }
        Ok(())
    }
}
