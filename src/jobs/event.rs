//! What jobs tell while they go on: one stream for text, JSON, the workbench and tests.

use serde::Serialize;

/// What is known of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlockState {
    /// One pass has read it.
    ReadOnce,
    /// Two passes under opposite conditions gave the same.
    Agreed,
    /// Passes gave different words; it will be read again.
    Disagrees,
    /// It never held still.
    Unsteady,
    /// Equal to the image.
    Same,
    /// Differs from the image.
    Differs,
    /// Erased, and not programmed yet.
    Erased,
    /// Written, and its checksum is right.
    Written,
    /// It could not be written.
    Failed,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// An adapter has answered.
    Connected {
        /// The board's name.
        board: String,
        /// The firmware's name.
        firmware: String,
        /// The line rate in use; none over TCP.
        baud: Option<u32>,
    },
    /// The rail was switched.
    Rail {
        /// On or off.
        on: bool,
        /// Its voltage in millivolts.
        mv: u16,
        /// Measured by the board, not declared.
        measured: bool,
    },
    /// The adapter is out of reach, and with it the state of the rail.
    RailUnknown,
    /// An unfinished capture is gone on with.
    Resumed {
        /// Blocks that need not be read again.
        blocks: usize,
        /// Blocks in all.
        of: usize,
    },
    /// A pass over a space begins.
    Pass {
        /// The space.
        space: String,
        /// 1, 2, ...
        number: u32,
        /// What it does, in words.
        what: String,
        /// Bytes of the module that it covers.
        bytes: u64,
    },
    /// A block has a new state.
    Block {
        /// The space.
        space: String,
        /// The block's word address in the space.
        address: u32,
        /// Its length in bytes.
        bytes: u32,
        /// What is known of it.
        state: BlockState,
    },
    /// Something worth a line in the log.
    Note {
        /// The sentence.
        text: String,
    },
    /// A note that people need even when they want nothing but reports.
    Caution {
        /// The sentence.
        text: String,
    },
    /// The job is being stopped; the safe state is reached within the time given.
    Stopping {
        /// Milliseconds.
        within_ms: u64,
    },
    /// The last event of every job, sent once by its runner.
    Finished(Outcome),
}

/// How a job ended.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Outcome {
    /// The exit code that goes with it.
    pub code: u8,
    /// One sentence.
    pub text: String,
    /// The report of a job that came to its end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub report: Option<serde_json::Value>,
}

/// What a screen or a progress line shows: the fold of all events so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// The adapter's board and rate.
    pub adapter: Option<(String, Option<u32>)>,
    /// The rail is on.
    pub rail_on: bool,
    /// The space and what is done with it.
    pub doing: Option<(String, String)>,
    /// Bytes of the present pass: done and all.
    pub done: (u64, u64),
    /// Blocks that never held still.
    pub unsteady: u32,
    /// The job is being stopped.
    pub stopping: bool,
    /// How it ended.
    pub outcome: Option<Outcome>,
}

impl Event {
    /// Folds this event into `view`.
    pub fn reduce(&self, view: &mut View) {
        match self {
            Self::Connected { board, baud, .. } => view.adapter = Some((board.clone(), *baud)),
            Self::Rail { on, .. } => view.rail_on = *on,
            Self::Pass { space, what, bytes, .. } => {
                view.doing = Some((space.clone(), what.clone()));
                view.done = (0, *bytes);
            }
            Self::Block { bytes, state, .. } => {
                // An erased sector is still to be programmed.
                if *state != BlockState::Erased {
                    view.done.0 += u64::from(*bytes);
                }
                view.unsteady += u32::from(*state == BlockState::Unsteady);
            }
            Self::Stopping { .. } => view.stopping = true,
            Self::Finished(outcome) => view.outcome = Some(outcome.clone()),
            // A rail that nobody knows of counts as on.
            Self::RailUnknown | Self::Resumed { .. } | Self::Note { .. } | Self::Caution { .. } => {
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_is_the_fold_of_its_events() {
        let mut view = View::default();
        let block = |state| Event::Block { space: "store".into(), address: 0, bytes: 64, state };
        let pass =
            Event::Pass { space: "store".into(), number: 1, what: "words".into(), bytes: 128 };
        for event in [
            Event::Rail { on: true, mv: 3300, measured: true },
            pass,
            block(BlockState::ReadOnce),
            block(BlockState::Unsteady),
        ] {
            event.reduce(&mut view);
        }
        assert_eq!((view.rail_on, view.done, view.unsteady), (true, (128, 128), 1));
    }

    #[test]
    fn events_are_flat_json_objects() {
        let json = serde_json::to_string(&Event::Rail { on: false, mv: 12, measured: true });
        assert_eq!(json.unwrap(), r#"{"event":"rail","on":false,"mv":12,"measured":true}"#);
    }
}
