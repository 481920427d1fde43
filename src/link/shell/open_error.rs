//! Why a port could not be opened.

use thiserror::Error;

/// A port that could not be opened.
#[derive(Debug, Error)]
pub enum OpenError {
    /// There is no such device.
    #[error("{port}: no such port; `buswright ports` lists what is there")]
    NotFound {
        /// The port as it was named.
        port: String,
    },
    /// The user may not open it.
    #[error(
        "{port}: no permission to open it; on most systems a user is let in by the group that owns \
         the device (see `ls -l {port}`), after logging in again"
    )]
    NoPermission {
        /// The port as it was named.
        port: String,
    },
    /// Another program has it.
    #[error("{port}: another program has this port open; close it there first")]
    Busy {
        /// The port as it was named.
        port: String,
    },
    /// It is something else.
    #[error("{port}: this is no serial port; `buswright ports` lists what is there")]
    NotSerial {
        /// The port as it was named.
        port: String,
    },
    /// It is no serial port, or cannot be set.
    #[error("{port}: {what}; is this a serial port, and can it do this rate?")]
    Unusable {
        /// The port as it was named.
        port: String,
        /// What the system says.
        what: String,
    },
    /// Nobody listens at the address.
    #[error("{port}: {what}; is the bench running, and is the address right?")]
    Unreachable {
        /// The address as it was named.
        port: String,
        /// What the system says.
        what: String,
    },
}
