//! What can be made to happen to a bench.

use crate::bus::Millivolts;

/// Something that happens to a bench at a time or after a number of requests.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// The adapter restarts.
    Reset,
    /// The cable is pulled: nothing passes any more.
    Unplug,
    /// The cable is put back; the host has to open the port again.
    Replug,
    /// The rail falls to this voltage and stays there until it is switched.
    Sag(Millivolts),
    /// The rail's current limit is reached.
    OverCurrent,
}
