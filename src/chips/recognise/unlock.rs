//! Commands behind unlock cycles: AMD's kind, the older JEDEC kind, page-write parts.
//!
//! Datasheets Am29LV160D table 9, SST39SF S71147 table 4, AT28C040 0542F, S29GL-A p46. The codes of
//! advanced sector protection (40, 50, 60, C0, E0), of passwords (38) and of the one-time area (88)
//! are from memory.

use super::{Act, Seen, State};
use crate::chips::Family;

const UNLOCKED: [u8; 2] = [0xAA, 0x55];
const TWICE: [u8; 5] = [0xAA, 0x55, 0x80, 0xAA, 0x55];
const PROGRAM: [u8; 3] = [0xAA, 0x55, 0xA0];

/// What `family` makes of `value` after what was seen.
pub(super) fn judge(seen: &Seen, value: u8, family: Family) -> (Act, &'static str) {
    let command = code(seen, value, family);
    // Data of one command may be the code of another.
    let data = data(seen, value, family);
    if data.0 > command.0 { data } else { command }
}

fn data(seen: &Seen, value: u8, family: Family) -> (Act, &'static str) {
    match family {
        Family::Page if seen.may_be(State::Page) || seen.ends(&PROGRAM) => {
            (Act::Program, "load of a page")
        }
        Family::Page if seen.may_be(State::Unprotected) => {
            (Act::Program, "load of a page without protection")
        }
        _ if seen.ends(&PROGRAM) => (Act::Program, "program"),
        Family::Amd if seen.may_be(State::Bypass) && seen.ends(&[0xA0]) => {
            (Act::Program, "program in the unlock bypass")
        }
        Family::Amd if seen.may_be(State::UnlockedBuffer) && value == 0x29 => {
            (Act::Program, "confirmation of a write buffer")
        }
        Family::Amd if seen.may_be(State::Begun) && value == 0x30 => {
            (Act::Erase, "a further sector, or an erase goes on")
        }
        _ => (Act::Harmless, ""),
    }
}

fn code(seen: &Seen, value: u8, family: Family) -> (Act, &'static str) {
    if seen.ends(&TWICE) {
        return after_both(value, family);
    }
    if seen.ends(&UNLOCKED) {
        return after_unlock(value, family);
    }
    match value {
        0xAA => (Act::Part, "first unlock cycle"),
        0x55 if seen.ends(&[0xAA]) => (Act::Part, "second unlock cycle"),
        0xA0 if seen.may_be(State::Bypass) && family == Family::Amd => {
            (Act::Part, "set-up of a program in the unlock bypass")
        }
        0x25 if seen.may_be(State::Bypass) && family == Family::Amd => {
            (Act::Part, "set-up of a write buffer")
        }
        _ => (Act::Harmless, ""),
    }
}

fn after_unlock(value: u8, family: Family) -> (Act, &'static str) {
    match (value, family) {
        // Ids, query table, reset.
        (0x90 | 0x98 | 0xF0, _) => (Act::Harmless, ""),
        (0x80, _) => (Act::Part, "set-up of an erase"),
        (0xA0, _) => (Act::Part, "set-up of a program"),
        (0x20, Family::Amd) => (Act::Part, "entry to the unlock bypass"),
        (0x25, Family::Amd) => (Act::Part, "set-up of a write buffer"),
        (0x88, Family::Amd) => (Act::Permanent, "entry to the one-time area"),
        (0x40, Family::Amd) => (Act::Permanent, "entry to the lock register"),
        (0x60 | 0x38, Family::Amd) => (Act::Permanent, "entry to password protection"),
        (0xC0, Family::Amd) => (Act::Permanent, "entry to persistent protection"),
        (0x50, Family::Amd) => (Act::Permanent, "entry to the freeze of protection"),
        (0xE0, Family::Amd) => (Act::Lock, "entry to protection until the rail goes off"),
        (_, Family::Amd) => (Act::Unknown, "unlock cycles with an unknown code"),
        _ => (Act::Harmless, ""),
    }
}

fn after_both(value: u8, family: Family) -> (Act, &'static str) {
    match (value, family) {
        (0x30, Family::Amd | Family::Jedec) => (Act::Erase, "erase of a sector"),
        (0x50, Family::Jedec) => (Act::Erase, "erase of a block"),
        (0x10, _) => (Act::EraseChip, "erase of the whole chip"),
        (0x20, Family::Page) => (Act::Lock, "protection off"),
        // A part that takes these for a new beginning.
        _ => after_unlock(value, family),
    }
}

/// `value` was written.
pub(super) fn take(seen: &mut Seen, value: u8) {
    let (twice, unlocked) = (seen.ends(&TWICE), seen.ends(&UNLOCKED));
    let bypass = seen.may_be(State::Bypass);
    let data = seen.ends(&PROGRAM);
    let confirmed = seen.may_be(State::UnlockedBuffer) && value == 0x29;
    let erases = twice && matches!(value, 0x10 | 0x30 | 0x50);
    seen.enter(State::Begun, erases || confirmed || data || bypass && seen.ends(&[0xA0]));
    seen.enter(State::Page, data || seen.may_be(State::Unprotected));
    seen.enter(State::Unprotected, twice && value == 0x20);
    // Protection comes back with a protected write.
    seen.leave(State::Unprotected, unlocked && value == 0xA0);
    seen.leave(State::UnlockedBuffer, confirmed);
    seen.enter(State::UnlockedBuffer, value == 0x25 && (unlocked || bypass));
    // Some parts leave the bypass with another second cycle than 00; here only 00 counts.
    seen.leave(State::Bypass, value == 0x00 && seen.ends(&[0x90]));
    seen.enter(State::Bypass, unlocked && value == 0x20);
}
