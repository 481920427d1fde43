//! What can be asked of sheets without an adapter.

mod check;
mod describe;
mod fit;
mod list;
mod new;

pub(crate) use check::check_sheets;
pub(crate) use fit::fit_sheet;
pub(crate) use list::list_sheets;
pub(crate) use new::write_new_sheet;
