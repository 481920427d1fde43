//! What every job works with.

use super::{Event, JobError};
use crate::link::{Cancel, Client};
use std::cell::RefCell;

/// The link, the request to stop, and where events go.
pub struct Desk<'a> {
    /// The adapter.
    pub client: Client,
    /// Looked at between steps.
    pub cancel: Cancel,
    sink: RefCell<&'a mut dyn FnMut(&Event)>,
}

impl<'a> Desk<'a> {
    /// A desk that tells `sink` what happens.
    pub fn new(client: Client, cancel: Cancel, sink: &'a mut dyn FnMut(&Event)) -> Self {
        Self { client, cancel, sink: RefCell::new(sink) }
    }

    /// Tells an event.
    pub fn tell(&self, event: &Event) {
        (self.sink.borrow_mut())(event);
    }

    /// Tells a sentence.
    pub fn note(&self, text: impl Into<String>) {
        self.tell(&Event::Note { text: text.into() });
    }

    /// Ends the job here if that was asked for.
    pub fn check(&self) -> Result<(), JobError> {
        if self.cancel.is_requested() {
            return Err(JobError::Cancelled { at: None });
        }
        Ok(())
    }
}
