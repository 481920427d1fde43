//! Why a job did not come to its end, and the exit code that goes with it.

use crate::link::LinkError;
use crate::module::FitError;
use crate::shelf::ShelfError;
use crate::wire::FaultCode;
use thiserror::Error;

/// Why a job did not come to its end.
#[derive(Debug, Error)]
pub enum JobError {
    /// The link failed.
    #[error("{error}{}", place(.at.as_deref()))]
    Link {
        /// What happened.
        error: LinkError,
        /// Where the job was: the last good position.
        at: Option<String>,
    },
    /// Sheet and board do not go together.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// Going on could harm something.
    #[error("refused for safety: {0}")]
    Safety(String),
    /// The shelf failed.
    #[error(transparent)]
    Shelf(#[from] ShelfError),
    /// What was asked for cannot be.
    #[error("{0}")]
    Usage(String),
    /// Stopped on request.
    #[error("stopped on request{}", place(.at.as_deref()))]
    Cancelled {
        /// Where the job was.
        at: Option<String>,
    },
    /// The adapter is out of reach after RAIL on was sent.
    #[error(
        "{before}. The rail was switched on, and nobody here knows whether it is off now: the \
         adapter should switch it off 5 s after the last word. Measure it before you touch the \
         module"
    )]
    RailUnknown {
        /// How the job had ended.
        before: String,
    },
    /// The rail could not be proven off after the job.
    #[error("{before}; and {}", unproven(.error))]
    RailUnproven {
        /// How the job had ended.
        before: String,
        /// Why the rail's state is not known.
        error: LinkError,
    },
}

/// What is to be said of a rail that is not known to be off.
pub(super) fn unproven(error: &LinkError) -> String {
    match error {
        // The switch is open already: no dead-man ends this.
        LinkError::Fault { code: FaultCode::POWERED_THROUGH_LINES, detail, .. } => format!(
            "the module is powered through its lines: the adapter has opened the rail's switch, \
             and {detail} mV are still there. That does not end by itself: do not touch the module \
             before the line that feeds it is found and the rail is measured to be off"
        ),
        error => format!(
            "the rail could not be switched off ({error}). An adapter that hears nothing more does \
             it by itself after 5 s; do not touch the module before you have measured its rail"
        ),
    }
}

fn place(at: Option<&str>) -> String {
    at.map_or_else(String::new, |at| format!(" ({at})"))
}

impl From<LinkError> for JobError {
    fn from(error: LinkError) -> Self {
        match error {
            LinkError::Aborted => Self::Cancelled { at: None },
            error => Self::Link { error, at: None },
        }
    }
}

impl JobError {
    /// The same with where the job was, if it is not known yet.
    pub fn at(self, position: impl FnOnce() -> String) -> Self {
        match self {
            Self::Link { error, at: None } => Self::Link { error, at: Some(position()) },
            Self::Cancelled { at: None } => Self::Cancelled { at: Some(position()) },
            other => other,
        }
    }

    /// The exit code: 2 usage and files, 3 adapter, line or disk, 4 safety, 130 stopped.
    pub fn code(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            Self::Shelf(error) if error.is_usage() => 2,
            Self::Fit(error) if !error.is_safety() => 2,
            Self::Link { .. }
            | Self::RailUnknown { .. }
            | Self::RailUnproven { .. }
            | Self::Shelf(_) => 3,
            Self::Fit(_) | Self::Safety(_) => 4,
            Self::Cancelled { .. } => 130,
        }
    }
}

/// How good the answer of a job that came to its end is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Done, and good: exit code 0.
    Good,
    /// Done, and the answer is no: exit code 1.
    No,
}
