//! Commands of Intel's kind: a code, and a second cycle that makes it true.
//!
//! Datasheets 28F008SA, 28F128J3A p22, 28F320W30 table 4, 28F640C3; F1 after MAME
//! `strata.cpp`. From memory: 2F, 30 (whole chip, and SST28 chips with 30 twice), 41, 80 and E9.

use super::{Act, Seen, State};

/// What a chip of Intel's kind makes of `value` after what was seen.
pub(super) fn judge(seen: &Seen, value: u8) -> (Act, &'static str) {
    let second = seen.last.last().map_or((Act::Harmless, ""), |&first| second(first, value));
    let goes_on = match value {
        0xD0 if seen.may_be(State::CodeBuffer) => (Act::Program, "confirmation of a write buffer"),
        0xD0 if seen.may_be(State::Begun) => (Act::Erase, "an erase or a program goes on"),
        _ => (Act::Harmless, ""),
    };
    let first = first(value);
    [goes_on, first].into_iter().fold(
        second,
        |worst, next| {
            if next.0 > worst.0 { next } else { worst }
        },
    )
}

fn second(first: u8, value: u8) -> (Act, &'static str) {
    match (first, value) {
        (0x20, 0xD0) => (Act::Erase, "erase of a sector"),
        (0x30, 0xD0 | 0x30) => (Act::EraseChip, "erase of the whole chip"),
        (0x40 | 0x10 | 0x41, _) => (Act::Program, "program"),
        (0x80, 0xD0) => (Act::Program, "start of programming in a row"),
        (0xC0, _) => (Act::Permanent, "program of the protection register"),
        (0x60, 0x2F) => (Act::Permanent, "lock-down"),
        (0x60, 0xF1) => (Act::Permanent, "master lock"),
        // The read configuration, which the rail forgets.
        (0x60, 0x03) => (Act::Harmless, ""),
        (0x60, 0x01) => (Act::Lock, "lock of a sector"),
        (0x60, 0xD0) => (Act::Lock, "clearing of locks"),
        (0x60, _) => (Act::Lock, "unknown lock command"),
        _ => (Act::Harmless, ""),
    }
}

fn first(value: u8) -> (Act, &'static str) {
    match value {
        0x20 | 0x30 => (Act::Part, "set-up of an erase"),
        0x40 | 0x10 | 0x41 | 0x80 => (Act::Part, "set-up of a program"),
        0xE8 | 0xE9 => (Act::Part, "set-up of a write buffer"),
        0x60 => (Act::Part, "set-up of a lock command"),
        // The next write, whatever it is, would be programmed for good: not even begun.
        0xC0 => (Act::Permanent, "set-up of the protection register"),
        _ => (Act::Harmless, ""),
    }
}

/// `value` was written.
pub(super) fn take(seen: &mut Seen, value: u8) {
    let second = seen.last.last().map(|&first| second(first, value));
    let confirmed = seen.may_be(State::CodeBuffer) && value == 0xD0;
    seen.enter(State::Begun, confirmed || second.is_some_and(|(act, _)| act >= Act::Program));
    seen.leave(State::CodeBuffer, confirmed);
    seen.enter(State::CodeBuffer, matches!(value, 0xE8 | 0xE9));
}
