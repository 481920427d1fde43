//! The typed way to a script: blocks are closures, so they always balance.

use super::{
    CheckError, Checked, Expect, Limits, Line, Op, Place, Script, Source, Sweep, Times, Wait,
    WaitKind, check,
};
use crate::bus::{ShapeId, Width, Word, WordAddress};
use thiserror::Error;

/// Why a script cannot be built.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum BuildError {
    /// A skip over no operation, or over more than one byte can count.
    #[error("a skip passes over {0} operations; it takes 1 to 255")]
    Skip(usize),
    /// Something after `finally`.
    #[error("an operation follows 'finally', which is the last block of a script")]
    AfterFinally,
    /// `finally` inside a block.
    #[error("'finally' stands inside a block; it belongs at the end of the script")]
    FinallyInside,
    /// Refused by the checker.
    #[error(transparent)]
    Check(#[from] CheckError),
}

/// Builds a script operation by operation. The first thing that cannot be encoded is kept and
/// returned at the end.
#[derive(Clone, Debug, Default)]
pub struct Builder {
    ops: Vec<Op>,
    wrong: Option<BuildError>,
    closed: bool,
    inside: u32,
}

impl Builder {
    /// A script whose first cycles are of this shape.
    pub fn new(slot: ShapeId) -> Self {
        Self::default().op(Op::Shape(slot))
    }

    /// Appends any operation; the methods below are the comfortable way.
    pub fn op(mut self, op: Op) -> Self {
        if self.closed {
            self.wrong.get_or_insert(BuildError::AfterFinally);
        }
        self.ops.push(op);
        self
    }

    /// From here on cycles are of another shape.
    pub fn shape(self, slot: ShapeId) -> Self {
        self.op(Op::Shape(slot))
    }

    /// From here on writes are meant for these data lines; the others carry `rest`.
    pub fn lanes(self, mask: Word, rest: Word) -> Self {
        self.op(Op::Rest(rest)).op(Op::Lanes(mask))
    }

    /// What data lines outside the mask of the start values carry.
    pub fn rest(self, value: Word) -> Self {
        self.op(Op::Rest(value))
    }

    /// A becomes this address.
    pub fn set_a(self, address: WordAddress) -> Self {
        self.op(Op::SetA(Source::At(address)))
    }

    /// A becomes B.
    pub fn set_a_to_b(self) -> Self {
        self.op(Op::SetA(Source::B))
    }

    /// A becomes the next payload word.
    pub fn set_a_to_payload(self) -> Self {
        self.op(Op::SetA(Source::Payload))
    }

    /// A moves by so many words.
    pub fn step(self, words: i16) -> Self {
        self.op(Op::Step(words))
    }

    /// Writes `value` at this address.
    pub fn write(self, address: WordAddress, value: Word) -> Self {
        self.op(Op::Write { value, at: Place::At(address) })
    }

    /// Writes `value` at A.
    pub fn write_a(self, value: Word) -> Self {
        self.op(Op::Write { value, at: Place::A })
    }

    /// Writes `value` at B.
    pub fn write_b(self, value: Word) -> Self {
        self.op(Op::Write { value, at: Place::B })
    }

    /// Writes the next payload word at A.
    pub fn write_payload(self) -> Self {
        self.op(Op::WritePayload)
    }

    /// Writes N - 1 in every lane at B.
    pub fn write_count(self, lane: Width) -> Self {
        self.op(Op::WriteCount { lane })
    }

    /// Reads this address into D.
    pub fn read(self, address: WordAddress) -> Self {
        self.op(Op::Read(Place::At(address)))
    }

    /// Reads A into D.
    pub fn read_a(self) -> Self {
        self.op(Op::Read(Place::A))
    }

    /// Reads B into D.
    pub fn read_b(self) -> Self {
        self.op(Op::Read(Place::B))
    }

    /// Emits D.
    pub fn emit(self) -> Self {
        self.op(Op::Emit)
    }

    /// The payload word before becomes the next one again.
    pub fn previous(self) -> Self {
        self.op(Op::Previous)
    }

    /// Passes over a payload word.
    pub fn next(self) -> Self {
        self.op(Op::Next)
    }

    /// Waits, polling as `wait` says.
    pub fn wait(self, wait: Wait) -> Self {
        self.op(Op::Wait(wait))
    }

    /// Waits at A until each lane reads the payload word written last, which is taken again.
    pub fn wait_written(self, lane: Width, fail: Word, timeout_ms: u32) -> Self {
        let (kind, expect) = (WaitKind::Data, Expect::Payload);
        let wait = Wait { lane, kind, at_b: false, expect, fail, timeout_ms };
        self.previous().wait(wait).next()
    }

    /// Waits for the ready line.
    pub fn ready(self, timeout_ms: u32) -> Self {
        self.op(Op::Ready { timeout_ms })
    }

    /// Lets time pass.
    pub fn delay(self, us: u32) -> Self {
        self.op(Op::Delay { us })
    }

    /// Makes a march element over N words from B.
    pub fn sweep(self, sweep: Sweep) -> Self {
        self.op(Op::Sweep(sweep))
    }

    /// Sets or clears a line beside the bus.
    pub fn line(self, line: Line, active: bool) -> Self {
        self.op(Op::Line { line, active })
    }

    /// Runs `body` so many times.
    pub fn repeat(self, times: u32, body: impl FnOnce(Self) -> Self) -> Self {
        self.block(Op::Loop(Times::Fixed(times)), Op::EndLoop, body)
    }

    /// Runs `body` N times.
    pub fn repeat_n(self, body: impl FnOnce(Self) -> Self) -> Self {
        self.block(Op::Loop(Times::N), Op::EndLoop, body)
    }

    /// In `body` a stop waits, for at most so long.
    pub fn critical(self, max_ms: u32, body: impl FnOnce(Self) -> Self) -> Self {
        self.block(Op::Critical { max_ms }, Op::EndCritical, body)
    }

    /// `body` is made without any pause.
    pub fn atomic(self, body: impl FnOnce(Self) -> Self) -> Self {
        self.block(Op::Atomic, Op::EndAtomic, body)
    }

    /// Passes over `body` if the payload word at the cursor is `value`.
    pub fn unless_payload(self, value: Word, body: impl FnOnce(Self) -> Self) -> Self {
        self.skip(|count| Op::SkipIfPayload { count, value }, body)
    }

    /// Passes over `body` if D under `mask` is `value`.
    pub fn unless_d(self, mask: Word, value: Word, body: impl FnOnce(Self) -> Self) -> Self {
        self.skip(|count| Op::SkipIfD { count, mask, value }, body)
    }

    /// `body` runs at every end but a power loss; nothing may follow.
    pub fn finally(mut self, body: impl FnOnce(Self) -> Self) -> Self {
        if self.inside > 0 {
            self.wrong.get_or_insert(BuildError::FinallyInside);
        }
        self = body(self.op(Op::Finally));
        self.closed = true;
        self
    }

    fn block(mut self, begin: Op, end: Op, body: impl FnOnce(Self) -> Self) -> Self {
        self = self.op(begin);
        self.inside += 1;
        self = body(self).op(end);
        self.inside -= 1;
        self
    }

    fn skip(mut self, op: impl FnOnce(u8) -> Op, body: impl FnOnce(Self) -> Self) -> Self {
        let at = self.ops.len();
        self.inside += 1;
        self = body(self);
        self.inside -= 1;
        let passed = self.ops.len().saturating_sub(at);
        match u8::try_from(passed) {
            Ok(count) if count > 0 => self.ops.insert(at, op(count)),
            _ => {
                self.wrong.get_or_insert(BuildError::Skip(passed));
            }
        }
        self
    }

    /// The script, not checked yet.
    pub fn script(self) -> Result<Script, BuildError> {
        self.wrong.map_or(Ok(()), Err)?;
        Ok(Script::encode(&self.ops))
    }

    /// The script, checked.
    pub fn check(self, limits: &Limits) -> Result<Checked, BuildError> {
        Ok(check(&self.script()?, limits)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::script::{LaneRule, Refusal, SlotRule, list};

    fn limits() -> Limits {
        Limits::with_shapes([SlotRule { width: Width::W16, lanes: LaneRule::Rest }])
    }

    #[test]
    fn blocks_balance_and_skips_count() {
        let built = Builder::new(ShapeId(0))
            .repeat_n(|b| b.unless_d(0xFF, 0, |b| b.atomic(|b| b.read_a().step(-1))).emit())
            .finally(|b| b.write(WordAddress(0), 0xF0));
        let checked = built.check(&limits()).unwrap();
        let text = "\
0000  shape 0
0002  loop N
0003    skip 4 if D under FF is 0
000D    atomic
000E      D = read A
000F      A -1
0012    end
0013    emit D
0014  end
0015  finally
0016    write F0 at 0x0
";
        assert_eq!(list(checked.script()), text);
        assert_eq!(checked.need(5).map(|need| need.emitted), Ok(5));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let new = || Builder::new(ShapeId(0));
        assert_eq!(new().unless_d(0, 0, |b| b).script(), Err(BuildError::Skip(0)));
        let many = |b: Builder| (0..256).fold(b, |b, _| b.step(1));
        assert_eq!(new().unless_d(0, 0, many).script(), Err(BuildError::Skip(256)));
        assert_eq!(new().finally(|b| b).emit().script(), Err(BuildError::AfterFinally));
        let inside = new().repeat(2, |b| b.finally(|b| b));
        assert_eq!(inside.script(), Err(BuildError::FinallyInside));
        let refused = new().repeat(0, |b| b).check(&limits());
        let what = Refusal::LoopOfNone;
        assert_eq!(refused, Err(BuildError::Check(CheckError { at: 2, what })));
    }
}
