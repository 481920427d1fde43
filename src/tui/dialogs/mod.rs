//! What lies over the panes until it is answered or escaped.

mod cautions;
mod choose;
mod draw;
mod elsewhere;
mod keys;
mod plan_form;
mod write_keys;
mod write_pages;

pub use cautions::CAUTIONS;
pub use choose::{Choice, Choose};
pub use draw::draw;
pub use keys::{key, scrolled};
pub use plan_form::PlanForm;

use super::line_edit::LineEdit;
use super::state::Pane;
use crate::app::workbench::{Command, Elsewhere, Order};
use crate::bus::WordAddress;

/// Times of leave that can be chosen, in seconds.
pub const TIMES: [u16; 5] = [30, 60, 120, 300, 600];

/// Leave to write that is about to be asked for.
#[derive(Clone, Debug)]
pub struct LeaveForm {
    /// The space.
    pub space: usize,
    /// Which of [`TIMES`].
    pub time: usize,
    /// What is to be written with it.
    pub order: Order,
    /// Where flash chips may be changed, and what would change them.
    pub changes: Option<((WordAddress, WordAddress), String)>,
}

impl LeaveForm {
    /// For this order, and for no change of flash chips.
    pub fn new(space: usize, order: Order) -> Self {
        Self { space, time: 1, order, changes: None }
    }

    /// How long, in seconds.
    pub fn seconds(&self) -> u16 {
        TIMES[self.time.min(TIMES.len() - 1)]
    }
}

/// A dialog.
#[derive(Clone, Debug)]
pub enum Dialog {
    /// A port, or a sheet, from a list or typed.
    Choose(Choose),
    /// The label of the individual module.
    Specimen(LineEdit),
    /// The cautions; then, perhaps, what was asked for.
    Cautions(Option<Box<Command>>),
    /// Leave to write.
    Leave(LeaveForm),
    /// What of an image is planned.
    Plan(Box<PlanForm>),
    /// A plan, to be read.
    Review {
        /// Rows scrolled.
        down: usize,
    },
    /// The label of the module, before it is changed.
    Confirm {
        /// A write is gone on with; otherwise the plan is begun.
        resume: bool,
        /// What is typed.
        line: LineEdit,
        /// Why that does not do.
        wrong: Option<String>,
    },
    /// A write of this module was interrupted.
    Unfinished {
        /// The chosen row.
        at: usize,
    },
    /// How a write has ended.
    WriteEnd,
    /// Did the instrument start?
    Started {
        /// The chosen row.
        at: usize,
    },
    /// Has a person measured the rail?
    Measured,
    /// Something runs: stop it and end?
    Quit,
    /// The keys of a pane.
    Help {
        /// The pane.
        pane: Pane,
        /// Rows scrolled.
        down: usize,
    },
    /// Another workbench runs without a screen.
    Elsewhere {
        /// What it does; `None` once it has ended.
        there: Option<Elsewhere>,
        /// It is looked at once a second.
        follow: bool,
    },
}
