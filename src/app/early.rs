//! What can be seen to be wrong before a port is opened.

use super::parts::{Asked, parts, read_range};
use super::plan_job::PlanOptions;
use super::sheets::load_sheet;
use super::{Job, Outcome, Wanted};
use crate::jobs::{BLANK, JobError};

impl Job {
    /// Looks at names and ranges as far as that goes without an adapter; the outcome is of a job
    /// that must not be begun.
    pub fn check(&self, wanted: &Wanted) -> Result<(), Outcome> {
        self.look(wanted).map_err(|error| Outcome {
            code: error.code(),
            text: error.to_string(),
            report: None,
        })
    }

    fn look(&self, wanted: &Wanted) -> Result<(), JobError> {
        let none = &None;
        let (space, range, of_sheet) = match self {
            Self::Identify(_) | Self::Write(_) | Self::Erase(_) => (none, none, false),
            Self::Capture(options) => (&options.space, &options.range, true),
            // The record of a capture says which words it is of, and knows its own sheet.
            Self::Verify { image, space, range, .. } => {
                (space, range, image == BLANK || std::path::Path::new(image).is_file())
            }
            Self::Plan(PlanOptions { image, space, range, .. }) => {
                let image = image.as_deref();
                let is_file = |image: &str| std::path::Path::new(image).is_file();
                (space, range, image.is_some_and(|image| image == BLANK || is_file(image)))
            }
        };
        if let Some(range) = range {
            read_range(range)?;
        }
        if let Some(label) = &wanted.specimen {
            super::wanted::label(label)?;
        }
        if let Some(name) = &wanted.sheet {
            let sheet = load_sheet(name)?;
            if of_sheet {
                parts(&sheet, Asked { space: space.as_deref(), range: range.as_deref() })?;
            }
        }
        Ok(())
    }
}
