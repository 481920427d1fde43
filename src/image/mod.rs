//! What a copy can tell: two copies compared, words that would not hold still, and the doubts that
//! agreement of two passes leaves open.
//!
//! Pure: bytes in, findings out. Copies are little-endian words of one [`crate::bus::Width`].

mod advice;
mod compare;
mod doubt;
mod doubts;
mod mirror;
mod say;
mod unsteady;

pub(crate) use advice::{
    ACCEPT, PLAN, PLAN_BACK, RANGE, RESUME, SHEET, SHELF_LIST, SPACE, SPECIMEN, STARTED, TAKE,
    VERIFY, in_keys,
};
pub(crate) use compare::compare;
pub(crate) use doubt::{Doubt, DoubtKind};
pub(crate) use doubts::{SpaceView, doubts};
pub(crate) use say::{counted, one_line, word_text};
pub(crate) use unsteady::{Unsteady, UnsteadyWord};
