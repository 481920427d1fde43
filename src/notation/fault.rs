//! Why a text could not be read.

use std::fmt::{self, Display};
use std::ops::Range;

/// What is wrong, and where.
///
/// In a box, so that the many results that carry it stay small.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadFault(Box<Inner>);

#[derive(Clone, Debug, PartialEq, Eq)]
struct Inner {
    message: String,
    span: Option<Range<usize>>,
}

impl ReadFault {
    pub(super) fn new(message: impl Display, span: Option<Range<usize>>) -> Self {
        Self(Box::new(Inner { message: message.to_string(), span }))
    }

    pub(super) fn of_parser(error: &toml::de::Error) -> Self {
        Self::new(error.message(), error.span())
    }

    /// The same at `span`, unless a smaller place is known already.
    pub(super) fn at(mut self, span: Range<usize>) -> Self {
        self.0.span.get_or_insert(span);
        self
    }

    /// What is wrong, without its place.
    pub fn message(&self) -> &str {
        &self.0.message
    }

    /// Where, in bytes of the text.
    pub fn span(&self) -> Option<Range<usize>> {
        self.0.span.clone()
    }
}

impl Display for ReadFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.message)
    }
}

impl std::error::Error for ReadFault {}

impl serde::de::Error for ReadFault {
    fn custom<T: Display>(message: T) -> Self {
        Self::new(message, None)
    }
}
