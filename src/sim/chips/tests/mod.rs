//! Tests of the chips.
