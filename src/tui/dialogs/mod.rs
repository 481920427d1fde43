//! What lies over the panes until it is answered or escaped.

mod cautions;
mod choose;
mod draw;
mod elsewhere;
mod keys;
mod leave;
mod plan_form;
mod write_keys;
mod write_pages;

pub use cautions::CAUTIONS;
pub use choose::{Choice, Choose};
pub use draw::{draw, last_down};
pub use keys::{found_sheet, key, scrolled};
pub use leave::LeaveForm;
pub use plan_form::PlanForm;
pub use write_keys::found;
pub use write_pages::too_small;

use super::line_edit::LineEdit;
use super::state::Pane;
use crate::app::workbench::{Command, Elsewhere};

/// A dialog.
#[derive(Clone, Debug)]
pub enum Dialog {
    /// A port, or a sheet, from a list or typed.
    Choose(Choose),
    /// The label of the individual module.
    Specimen(LineEdit),
    /// The cautions; then, perhaps, what was asked for.
    Cautions {
        /// What was asked for.
        then: Option<Box<Command>>,
        /// Rows scrolled.
        down: usize,
    },
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

impl Dialog {
    /// The cautions from their beginning.
    pub fn cautions(then: Option<Box<Command>>) -> Self {
        Self::Cautions { then, down: 0 }
    }

    /// True if Enter allows something here that a person must have looked for first: no Enter of
    /// a paste is meant so.
    pub fn allows(&self) -> bool {
        match self {
            Self::Confirm { .. } | Self::Leave(_) | Self::Started { .. } | Self::Measured => true,
            Self::Cautions { then: Some(then), .. } => {
                matches!(**then, Command::Run("write", _))
            }
            _ => false,
        }
    }
}
