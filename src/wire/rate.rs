//! RATE: another line rate.

use super::field::{Fields, Malformed};
use crate::bus::Baud;

/// RATE: answered at the old rate, then both sides switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RateRequest {
    /// The rate wanted.
    pub rate: Baud,
}

impl RateRequest {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.extend(self.rate.0.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { rate: Baud(f.u32("rate")?) })
    }
}

/// RATE's reply; without a good frame at the new rate within 500 ms the adapter goes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RateReply {
    /// The rate it switches to.
    pub rate: Baud,
}

impl RateReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.extend(self.rate.0.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { rate: Baud(f.u32("rate")?) })
    }
}
