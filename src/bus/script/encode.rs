//! Operations to bytes and back.

use super::code::{self as c, LONG_ADDRESS, LONG_VALUE};
use super::{
    CheckError, Expect, Line, Op, Opcode, Place, Refusal, Source, Sweep, Times, Wait, WaitKind,
};
use crate::bus::{ShapeId, Width, Word, WordAddress};

/// A cycle script as it goes over the wire: bytes that may or may not be a good script.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Script(pub Vec<u8>);

/// An operation and where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Placed {
    /// Offset of its opcode in bytes.
    pub at: u32,
    /// The operation.
    pub op: Op,
}

impl Script {
    /// The bytes of `ops`, each in its shortest form.
    pub fn encode(ops: &[Op]) -> Self {
        let mut out = Vec::new();
        for op in ops {
            put(op, &mut out);
        }
        Self(out)
    }

    /// The operations and where each stands, or the first byte that is none.
    pub fn decode(&self) -> Result<Vec<Placed>, CheckError> {
        let mut ops = Vec::new();
        let mut at = 0;
        while at < self.0.len() {
            let (op, len) =
                decode_at(&self.0[at..]).map_err(|what| CheckError { at: at as u32, what })?;
            ops.push(Placed { at: at as u32, op });
            at += len;
        }
        Ok(ops)
    }
}

fn lane_code(lane: Width) -> u8 {
    match lane {
        Width::W8 => 0,
        Width::W16 => 1,
        Width::W32 => 2,
    }
}

fn lane_of(code: u8) -> Option<Width> {
    [Width::W8, Width::W16, Width::W32].get(usize::from(code)).copied()
}

fn line_code(line: Line) -> u8 {
    match line {
        Line::Reset => 0,
        Line::Protect => 1,
        Line::Mark => 2,
    }
}

/// Two or four bytes; the bit that says so.
fn short_or_long(value: u32, long: u8) -> (u8, usize) {
    if value > 0xFFFF { (long, 4) } else { (0, 2) }
}

fn put_at(base: u8, address: WordAddress, out: &mut Vec<u8>) {
    let (bit, bytes) = short_or_long(address.0, LONG_ADDRESS);
    out.push(base | bit);
    out.extend_from_slice(&address.0.to_le_bytes()[..bytes]);
}

fn put_write(value: Word, at: Place, out: &mut Vec<u8>) {
    let (long, bytes) = short_or_long(value, LONG_VALUE);
    let value = &value.to_le_bytes()[..bytes];
    match at {
        Place::A | Place::B => {
            out.push(long | if at == Place::A { c::WRITE_A } else { c::WRITE_B });
            out.extend_from_slice(value);
        }
        Place::At(address) => {
            let (bit, bytes) = short_or_long(address.0, LONG_ADDRESS);
            out.push(c::WRITE | long | bit);
            out.extend_from_slice(value);
            out.extend_from_slice(&address.0.to_le_bytes()[..bytes]);
        }
    }
}

fn put_wait(wait: &Wait, out: &mut Vec<u8>) {
    let kind = match wait.kind {
        WaitKind::Data => 0,
        WaitKind::Status => 1,
        WaitKind::Toggle => 2,
    };
    let ones = u8::from(wait.expect == Expect::Ones);
    let how = lane_code(wait.lane) | kind << 2 | ones << 4 | u8::from(wait.at_b) << 5;
    let valued = matches!(wait.expect, Expect::Value { .. });
    out.extend([if valued { c::WAIT_VALUE } else { c::WAIT }, how]);
    out.extend(wait.fail.to_le_bytes());
    out.extend(wait.timeout_ms.to_le_bytes());
    if let Expect::Value { value, mask } = wait.expect {
        out.extend(value.to_le_bytes());
        out.extend(mask.to_le_bytes());
    }
}

fn put(op: &Op, out: &mut Vec<u8>) {
    let mut long = |code: u8, value: u32| {
        out.push(code);
        out.extend(value.to_le_bytes());
    };
    match *op {
        Op::Shape(slot) => out.extend([c::SHAPE, slot.0]),
        Op::Lanes(mask) => long(c::LANES, mask),
        Op::Rest(value) => long(c::REST, value),
        Op::SetA(Source::At(address)) => put_at(c::SET_A, address, out),
        Op::SetA(Source::B) => out.push(c::SET_A_B),
        Op::SetA(Source::Payload) => out.push(c::SET_A_PAYLOAD),
        Op::Step(words) => {
            out.push(c::STEP);
            out.extend(words.to_le_bytes());
        }
        Op::Write { value, at } => put_write(value, at, out),
        Op::WritePayload => out.push(c::WRITE_PAYLOAD),
        Op::WriteCount { lane } => out.extend([c::WRITE_COUNT, lane_code(lane)]),
        Op::Read(Place::At(address)) => put_at(c::READ, address, out),
        Op::Read(Place::A) => out.push(c::READ_A),
        Op::Read(Place::B) => out.push(c::READ_B),
        Op::Emit => out.push(c::EMIT),
        Op::Previous => out.push(c::PREVIOUS),
        Op::Next => out.push(c::NEXT),
        Op::Wait(ref wait) => put_wait(wait, out),
        Op::Ready { timeout_ms } => long(c::READY, timeout_ms),
        Op::Delay { us } => long(c::DELAY, us),
        Op::SkipIfPayload { count, value } => {
            out.extend([c::SKIP_PAYLOAD, count]);
            out.extend(value.to_le_bytes());
        }
        Op::SkipIfD { count, mask, value } => {
            out.extend([c::SKIP_D, count]);
            out.extend(mask.to_le_bytes());
            out.extend(value.to_le_bytes());
        }
        Op::Sweep(ref sweep) => {
            let (count, writes, inverse) = sweep.bits();
            let flags = u8::from(sweep.down) << 7 | u8::from(!sweep.precharge) << 6 | count;
            out.extend([c::SWEEP, flags, writes, inverse]);
            out.extend(sweep.background.to_le_bytes());
            out.extend(sweep.record.to_le_bytes());
        }
        Op::Loop(Times::Fixed(times)) => long(c::LOOP, times),
        Op::Loop(Times::N) => out.push(c::LOOP_N),
        Op::EndLoop => out.push(c::END_LOOP),
        Op::Critical { max_ms } => long(c::CRITICAL, max_ms),
        Op::EndCritical => out.push(c::END_CRITICAL),
        Op::Atomic => out.push(c::ATOMIC),
        Op::EndAtomic => out.push(c::END_ATOMIC),
        Op::Finally => out.push(c::FINALLY),
        Op::Line { line, active } => {
            out.extend([if active { c::SET_LINE } else { c::CLEAR_LINE }, line_code(line)]);
        }
    }
}

/// The operands of one operation, taken in order; the opcode's row says how long each is.
struct Operands<'a> {
    bytes: &'a [u8],
    row: &'static Opcode,
    next: usize,
}

impl Operands<'_> {
    fn take(&mut self) -> u32 {
        let size = self.row.operands.get(self.next).map_or(0, |(_, size)| usize::from(*size));
        self.next += 1;
        let (now, later) = self.bytes.split_at(size.min(self.bytes.len()));
        self.bytes = later;
        now.iter().rev().fold(0, |value, byte| value << 8 | u32::from(*byte))
    }

    fn byte(&mut self) -> u8 {
        self.take() as u8
    }

    /// The refusal of the operand taken last.
    fn bad(&self) -> Refusal {
        let row = self.row.operands;
        Refusal::BadOperand(row.get(self.next.wrapping_sub(1)).map_or("?", |(name, _)| name))
    }

    fn lane(&mut self) -> Result<Width, Refusal> {
        let code = self.byte();
        lane_of(code).ok_or(self.bad())
    }

    fn wait(&mut self, valued: bool) -> Result<Wait, Refusal> {
        let how = self.byte();
        let bad = self.bad();
        let kinds = [WaitKind::Data, WaitKind::Status, WaitKind::Toggle];
        let lane = lane_of(how & 3).ok_or(bad)?;
        let kind = *kinds.get(usize::from(how >> 2 & 3)).ok_or(bad)?;
        let ones = how & 0x10 != 0;
        if how & 0xC0 != 0 || (valued && ones) {
            return Err(bad);
        }
        let (fail, timeout_ms) = (self.take(), self.take());
        let expect = match (valued, ones) {
            (true, _) => Expect::Value { value: self.take(), mask: self.take() },
            (false, true) => Expect::Ones,
            (false, false) => Expect::Payload,
        };
        Ok(Wait { lane, kind, at_b: how & 0x20 != 0, expect, fail, timeout_ms })
    }

    fn sweep(&mut self) -> Result<Sweep, Refusal> {
        let flags = self.byte();
        let bad = self.bad();
        let (writes, inverse) = (self.byte(), self.byte());
        let mut sweep = Sweep::from_bits(flags & 0x3F, writes, inverse).ok_or(bad)?;
        sweep.down = flags & 0x80 != 0;
        sweep.precharge = flags & 0x40 == 0;
        sweep.background = self.take();
        sweep.record = self.take() as u16;
        Ok(sweep)
    }

    fn line(&mut self) -> Result<Line, Refusal> {
        let code = self.byte();
        [Line::Reset, Line::Protect, Line::Mark].get(usize::from(code)).copied().ok_or(self.bad())
    }
}

/// The operation at the start of `bytes` and its length.
fn decode_at(bytes: &[u8]) -> Result<(Op, usize), Refusal> {
    let code = *bytes.first().ok_or(Refusal::CutOff)?;
    let row = Opcode::find(code).ok_or(Refusal::UnknownOpcode(code))?;
    let len = row.len();
    let mut get = Operands { bytes: bytes.get(1..len).ok_or(Refusal::CutOff)?, row, next: 0 };
    let op = match code {
        c::SHAPE => Op::Shape(ShapeId(get.byte())),
        c::LANES => Op::Lanes(get.take()),
        c::REST => Op::Rest(get.take()),
        0x20 | 0x21 => Op::SetA(Source::At(WordAddress(get.take()))),
        c::SET_A_B => Op::SetA(Source::B),
        c::SET_A_PAYLOAD => Op::SetA(Source::Payload),
        c::STEP => Op::Step((get.take() as u16).cast_signed()),
        0x30..=0x33 => Op::Write { value: get.take(), at: Place::At(WordAddress(get.take())) },
        0x34 | 0x36 => Op::Write { value: get.take(), at: Place::A },
        0x35 | 0x37 => Op::Write { value: get.take(), at: Place::B },
        c::WRITE_PAYLOAD => Op::WritePayload,
        c::WRITE_COUNT => Op::WriteCount { lane: get.lane()? },
        0x40 | 0x41 => Op::Read(Place::At(WordAddress(get.take()))),
        c::READ_A => Op::Read(Place::A),
        c::READ_B => Op::Read(Place::B),
        c::EMIT => Op::Emit,
        c::PREVIOUS => Op::Previous,
        c::NEXT => Op::Next,
        c::WAIT | c::WAIT_VALUE => Op::Wait(get.wait(code == c::WAIT_VALUE)?),
        c::READY => Op::Ready { timeout_ms: get.take() },
        c::DELAY => Op::Delay { us: get.take() },
        c::SKIP_PAYLOAD => Op::SkipIfPayload { count: get.byte(), value: get.take() },
        c::SKIP_D => Op::SkipIfD { count: get.byte(), mask: get.take(), value: get.take() },
        c::SWEEP => Op::Sweep(get.sweep()?),
        c::LOOP => Op::Loop(Times::Fixed(get.take())),
        c::LOOP_N => Op::Loop(Times::N),
        c::END_LOOP => Op::EndLoop,
        c::CRITICAL => Op::Critical { max_ms: get.take() },
        c::END_CRITICAL => Op::EndCritical,
        c::ATOMIC => Op::Atomic,
        c::END_ATOMIC => Op::EndAtomic,
        c::FINALLY => Op::Finally,
        c::SET_LINE => Op::Line { line: get.line()?, active: true },
        c::CLEAR_LINE => Op::Line { line: get.line()?, active: false },
        _ => return Err(Refusal::UnknownOpcode(code)),
    };
    Ok((op, len))
}
