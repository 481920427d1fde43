//! STOP: end what runs at its next safe point.

use super::field::{Fields, Malformed};

/// STOP's reply, sent at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StopReply {
    /// The longest time until what runs has stopped, in milliseconds.
    pub within_ms: u32,
}

impl StopReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.extend(self.within_ms.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { within_ms: f.u32("within")? })
    }
}
