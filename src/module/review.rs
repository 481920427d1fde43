//! What reading a sheet has come to: the sheet, or every fault that was found.

use super::source::Source;
use super::{SheetError, SheetFault};

/// A sheet that was read, with all that is to be said about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Review<T> {
    /// The sheet; `None` if it has faults.
    pub sheet: Option<T>,
    /// Its faults, in the order of the file.
    pub faults: Vec<SheetError>,
    /// Faults beyond those that are listed.
    pub more: usize,
    /// Sentences about what is allowed and should be known.
    pub warnings: Vec<String>,
}

impl<T> Review<T> {
    /// Of what was read from `source`; with a fault there is no sheet.
    pub(super) fn new(source: Source<'_>, read: Option<T>) -> Self {
        if read.is_none() && source.count() == 0 {
            // Never so: whoever gives no sheet has told why.
            source.tell(1, "(file)", SheetFault::Missing("a sheet"));
        }
        let (faults, more) = source.into_faults();
        let sheet = read.filter(|_| faults.is_empty());
        Self { sheet, faults, more, warnings: Vec::new() }
    }

    /// The sheet, or the fault that was found first.
    pub(super) fn into_result(mut self) -> Result<T, SheetError> {
        match self.sheet {
            Some(sheet) => Ok(sheet),
            None => Err(self.faults.swap_remove(0)),
        }
    }

    /// Puts the faults in the order of the file.
    pub(super) fn sorted(mut self) -> Self {
        self.faults.sort_by_key(|fault| fault.line);
        self
    }
}
