//! Tests of sheets and of what they mean.
