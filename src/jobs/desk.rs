//! What every job works with.

use super::{Event, JobError};
use crate::link::{Cancel, Client};
use std::cell::{Cell, RefCell};

/// The link, the request to stop, and where events go.
pub struct Desk<'a> {
    /// The adapter.
    pub client: Client,
    /// Looked at between steps.
    pub cancel: Cancel,
    /// RAIL on was sent and rail off has not been confirmed since.
    pub(super) rail_asked: Cell<bool>,
    sink: RefCell<&'a mut dyn FnMut(&Event)>,
}

impl<'a> Desk<'a> {
    /// A desk that tells `sink` what happens.
    pub fn new(client: Client, cancel: Cancel, sink: &'a mut dyn FnMut(&Event)) -> Self {
        Self { client, cancel, rail_asked: Cell::new(false), sink: RefCell::new(sink) }
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
