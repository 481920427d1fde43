//! What a session has counted.

use serde::Serialize;

/// Counters of one session; they go into a capture's record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LinkStats {
    /// Requests sent, repeats included.
    pub frames_sent: u64,
    /// Good frames received.
    pub frames_received: u64,
    /// Pieces received that were no good frame.
    pub frames_damaged: u64,
    /// Good replies that no outstanding request had asked for.
    pub frames_stray: u64,
    /// Requests sent again.
    pub repeats: u64,
    /// Requests whose time ran out.
    pub timeouts: u64,
    /// Bytes sent.
    pub bytes_sent: u64,
    /// Bytes received.
    pub bytes_received: u64,
}

impl LinkStats {
    /// The link in one word: good below 1 repeat in 1,000 requests, fair below 1 in 20.
    pub fn word(&self) -> &'static str {
        let bad = self.repeats + self.timeouts;
        if bad * 1_000 <= self.frames_sent {
            "good"
        } else if bad * 20 <= self.frames_sent {
            "fair"
        } else {
            "poor"
        }
    }
}
