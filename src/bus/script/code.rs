//! The opcodes: one byte each, and the operands that follow it.

/// One opcode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Opcode {
    /// The byte.
    pub code: u8,
    /// Its name in listings and in docs/script.md.
    pub name: &'static str,
    /// Names and bytes of the operands, in order.
    pub operands: &'static [(&'static str, u8)],
}

impl Opcode {
    /// The opcode of `code`; `None` if there is none.
    pub fn find(code: u8) -> Option<&'static Self> {
        OPCODES.iter().find(|opcode| opcode.code == code)
    }

    /// Bytes of the opcode and its operands.
    pub fn len(&self) -> usize {
        1 + self.operands.iter().map(|(_, bytes)| usize::from(*bytes)).sum::<usize>()
    }

    /// Never true: the opcode itself is a byte.
    pub const fn is_empty(&self) -> bool {
        false
    }
}

const fn row(code: u8, name: &'static str, operands: &'static [(&'static str, u8)]) -> Opcode {
    Opcode { code, name, operands }
}

pub(super) const SHAPE: u8 = 0x10;
pub(super) const LANES: u8 = 0x11;
pub(super) const REST: u8 = 0x12;
pub(super) const SET_A: u8 = 0x20;
pub(super) const SET_A_B: u8 = 0x22;
pub(super) const SET_A_PAYLOAD: u8 = 0x23;
pub(super) const STEP: u8 = 0x24;
pub(super) const WRITE: u8 = 0x30;
pub(super) const WRITE_A: u8 = 0x34;
pub(super) const WRITE_B: u8 = 0x35;
pub(super) const WRITE_PAYLOAD: u8 = 0x38;
pub(super) const WRITE_COUNT: u8 = 0x39;
pub(super) const READ: u8 = 0x40;
pub(super) const READ_A: u8 = 0x42;
pub(super) const READ_B: u8 = 0x43;
pub(super) const EMIT: u8 = 0x44;
pub(super) const PREVIOUS: u8 = 0x45;
pub(super) const NEXT: u8 = 0x46;
pub(super) const WAIT: u8 = 0x50;
pub(super) const WAIT_VALUE: u8 = 0x51;
pub(super) const READY: u8 = 0x52;
pub(super) const DELAY: u8 = 0x53;
pub(super) const SKIP_PAYLOAD: u8 = 0x60;
pub(super) const SKIP_D: u8 = 0x61;
pub(super) const SWEEP: u8 = 0x70;
pub(super) const LOOP: u8 = 0x80;
pub(super) const LOOP_N: u8 = 0x81;
pub(super) const END_LOOP: u8 = 0x82;
pub(super) const CRITICAL: u8 = 0x83;
pub(super) const END_CRITICAL: u8 = 0x84;
pub(super) const ATOMIC: u8 = 0x85;
pub(super) const END_ATOMIC: u8 = 0x86;
pub(super) const FINALLY: u8 = 0x87;
pub(super) const SET_LINE: u8 = 0x90;
pub(super) const CLEAR_LINE: u8 = 0x91;

/// Added to a code with an address: the address has four bytes, not two.
pub(super) const LONG_ADDRESS: u8 = 1;
/// Added to a code with a value: the value has four bytes, not two.
pub(super) const LONG_VALUE: u8 = 2;

/// Every opcode, in order.
pub const OPCODES: &[Opcode] = &[
    row(SHAPE, "shape", &[("slot", 1)]),
    row(LANES, "lanes", &[("mask", 4)]),
    row(REST, "rest", &[("value", 4)]),
    row(SET_A, "a", &[("address", 2)]),
    row(SET_A | LONG_ADDRESS, "a", &[("address", 4)]),
    row(SET_A_B, "a-from-b", &[]),
    row(SET_A_PAYLOAD, "a-from-payload", &[]),
    row(STEP, "step", &[("words", 2)]),
    row(WRITE, "write", &[("value", 2), ("address", 2)]),
    row(WRITE | LONG_ADDRESS, "write", &[("value", 2), ("address", 4)]),
    row(WRITE | LONG_VALUE, "write", &[("value", 4), ("address", 2)]),
    row(WRITE | LONG_VALUE | LONG_ADDRESS, "write", &[("value", 4), ("address", 4)]),
    row(WRITE_A, "write-a", &[("value", 2)]),
    row(WRITE_B, "write-b", &[("value", 2)]),
    row(WRITE_A | LONG_VALUE, "write-a", &[("value", 4)]),
    row(WRITE_B | LONG_VALUE, "write-b", &[("value", 4)]),
    row(WRITE_PAYLOAD, "write-payload", &[]),
    row(WRITE_COUNT, "write-count", &[("lane", 1)]),
    row(READ, "read", &[("address", 2)]),
    row(READ | LONG_ADDRESS, "read", &[("address", 4)]),
    row(READ_A, "read-a", &[]),
    row(READ_B, "read-b", &[]),
    row(EMIT, "emit", &[]),
    row(PREVIOUS, "previous", &[]),
    row(NEXT, "next", &[]),
    row(WAIT, "wait", &[("how", 1), ("fail", 4), ("ms", 4)]),
    row(WAIT_VALUE, "wait-value", &[("how", 1), ("fail", 4), ("ms", 4), ("value", 4), ("mask", 4)]),
    row(READY, "ready", &[("ms", 4)]),
    row(DELAY, "delay", &[("us", 4)]),
    row(SKIP_PAYLOAD, "skip-if-payload", &[("count", 1), ("value", 4)]),
    row(SKIP_D, "skip-if-d", &[("count", 1), ("mask", 4), ("value", 4)]),
    row(
        SWEEP,
        "sweep",
        &[("flags", 1), ("writes", 1), ("inverse", 1), ("background", 4), ("record", 2)],
    ),
    row(LOOP, "loop", &[("times", 4)]),
    row(LOOP_N, "loop-n", &[]),
    row(END_LOOP, "end-loop", &[]),
    row(CRITICAL, "critical", &[("ms", 4)]),
    row(END_CRITICAL, "end-critical", &[]),
    row(ATOMIC, "atomic", &[]),
    row(END_ATOMIC, "end-atomic", &[]),
    row(FINALLY, "finally", &[]),
    row(SET_LINE, "set-line", &[("line", 1)]),
    row(CLEAR_LINE, "clear-line", &[("line", 1)]),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_rise_and_zero_is_none() {
        assert!(OPCODES.windows(2).all(|pair| pair[0].code < pair[1].code));
        assert_eq!(Opcode::find(0), None);
        assert_eq!(Opcode::find(WAIT_VALUE).map(Opcode::len), Some(18));
    }
}
