//! A script as text, one line an operation.

use super::{Expect, Line, Op, Place, Script, Source, SweepOp, Times, Wait, WaitKind};
use std::fmt::{self, Write as _};

/// One line for each operation of `script`, its byte offset first; the last line names the first
/// byte that is no operation, if there is one.
pub fn list(script: &Script) -> String {
    let mut out = String::new();
    let mut depth = 0_usize;
    let good = decode_prefix(script);
    for placed in &good.0 {
        if matches!(placed.op, Op::EndLoop | Op::EndCritical | Op::EndAtomic | Op::Finally) {
            depth = depth.saturating_sub(1);
        }
        let indent = depth.min(20) * 2;
        let _ = writeln!(out, "{:04X}  {:indent$}{}", placed.at, "", placed.op);
        if matches!(placed.op, Op::Loop(_) | Op::Critical { .. } | Op::Atomic | Op::Finally) {
            depth += 1;
        }
    }
    if let Some(error) = good.1 {
        let _ = writeln!(out, "{:04X}  ?? {}", error.at, error.what);
    }
    out
}

fn decode_prefix(script: &Script) -> (Vec<super::Placed>, Option<super::CheckError>) {
    match script.decode() {
        Ok(ops) => (ops, None),
        Err(error) => {
            let good = Script(script.0.get(..error.at as usize).unwrap_or_default().to_vec());
            (good.decode().unwrap_or_default(), Some(error))
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::At(address) => address.fmt(f),
            Self::A => f.write_str("A"),
            Self::B => f.write_str("B"),
        }
    }
}

impl fmt::Display for Wait {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self.kind {
            WaitKind::Data => "data",
            WaitKind::Status => "status",
            WaitKind::Toggle => "toggle",
        };
        let at = if self.at_b { "B" } else { "A" };
        write!(f, "wait {kind} at {at} in lanes of {} for ", self.lane.bits())?;
        match self.expect {
            Expect::Payload => f.write_str("payload")?,
            Expect::Ones => f.write_str("ones")?,
            Expect::Value { value, mask } => write!(f, "{value:X} under {mask:X}")?,
        }
        if self.fail != 0 {
            write!(f, ", failing at {:X}", self.fail)?;
        }
        write!(f, ", at most {} ms", self.timeout_ms)
    }
}

impl fmt::Display for Op {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Shape(slot) => slot.fmt(f),
            Self::Lanes(mask) => write!(f, "lanes {mask:X}"),
            Self::Rest(value) => write!(f, "rest {value:X}"),
            Self::SetA(Source::At(address)) => write!(f, "A = {address}"),
            Self::SetA(Source::B) => f.write_str("A = B"),
            Self::SetA(Source::Payload) => f.write_str("A = next payload"),
            Self::Step(words) => write!(f, "A {words:+}"),
            Self::Write { value, at } => write!(f, "write {value:X} at {at}"),
            Self::WritePayload => f.write_str("write next payload at A"),
            Self::WriteCount { lane } => {
                write!(f, "write N - 1 in lanes of {} at B", lane.bits())
            }
            Self::Read(at) => write!(f, "D = read {at}"),
            Self::Emit => f.write_str("emit D"),
            Self::Previous => f.write_str("payload back"),
            Self::Next => f.write_str("payload on"),
            Self::Wait(ref wait) => wait.fmt(f),
            Self::Ready { timeout_ms } => write!(f, "wait for ready, at most {timeout_ms} ms"),
            Self::Delay { us } => write!(f, "delay {us} us"),
            Self::SkipIfPayload { count, value } => {
                write!(f, "skip {count} if payload is {value:X}")
            }
            Self::SkipIfD { count, mask, value } => {
                write!(f, "skip {count} if D under {mask:X} is {value:X}")
            }
            Self::Sweep(ref sweep) => {
                let way = if sweep.down { "down" } else { "up" };
                write!(f, "sweep {way} N from B (")?;
                for (index, op) in sweep.ops().enumerate() {
                    let (name, one) = match op {
                        SweepOp::Read(one) => ('r', one),
                        SweepOp::Write(one) => ('w', one),
                    };
                    let gap = if index > 0 { " " } else { "" };
                    write!(f, "{gap}{name}{}", u8::from(one))?;
                }
                write!(f, "), 0 is {:X}, record {}", sweep.background, sweep.record)?;
                f.write_str(if sweep.precharge { "" } else { ", no precharge" })
            }
            Self::Loop(Times::Fixed(times)) => write!(f, "loop {times}"),
            Self::Loop(Times::N) => f.write_str("loop N"),
            Self::EndLoop | Self::EndCritical | Self::EndAtomic => f.write_str("end"),
            Self::Critical { max_ms } => write!(f, "critical, at most {max_ms} ms"),
            Self::Atomic => f.write_str("atomic"),
            Self::Finally => f.write_str("finally"),
            Self::Line { line, active } => {
                let name = match line {
                    Line::Reset => "reset",
                    Line::Protect => "protect",
                    Line::Mark => "mark",
                };
                write!(f, "{} {name}", if active { "set" } else { "clear" })
            }
        }
    }
}
