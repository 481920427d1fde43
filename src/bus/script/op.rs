//! The operations of a cycle script, typed.

use crate::bus::{ShapeId, Width, Word, WordAddress};

/// Where a cycle goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Place {
    /// This word address.
    At(WordAddress),
    /// The address in A.
    A,
    /// The address in B.
    B,
}

/// Where A gets its address from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// This word address.
    At(WordAddress),
    /// B.
    B,
    /// The payload word at the cursor, which is taken.
    Payload,
}

/// How often a loop's body runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Times {
    /// So often; zero is refused.
    Fixed(u32),
    /// As often as N says.
    N,
}

/// What ends a wait.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WaitKind {
    /// The lane reads the expected data; what stands still at the time-out is *different*.
    Data,
    /// The lane is a status register; standing still means nothing.
    Status,
    /// The lane reads the same three times in a row.
    Toggle,
}

/// What a lane must read to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Expect {
    /// The payload word at the cursor, which stays there.
    Payload,
    /// All ones.
    Ones,
    /// `value` in the bits of `mask`; the others may be anything.
    Value {
        /// The bits wanted.
        value: Word,
        /// The bits that count.
        mask: Word,
    },
}

/// Polls one address until every lane has left the test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Wait {
    /// The width of a lane.
    pub lane: Width,
    /// What ends it.
    pub kind: WaitKind,
    /// Polls B instead of A.
    pub at_b: bool,
    /// What a lane must read.
    pub expect: Expect,
    /// Bits that mean failure while the lane is not as expected.
    pub fail: Word,
    /// Time-out in milliseconds.
    pub timeout_ms: u32,
}

/// One operation of a sweep.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SweepOp {
    /// Reads, expecting the background (false) or its inverse (true).
    Read(bool),
    /// Writes the background (false) or its inverse (true).
    Write(bool),
}

/// Up to eight operations at each of N addresses from B.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sweep {
    /// From the highest address to the lowest.
    pub down: bool,
    /// Charges the data lines to the inverse of the expected value before each read.
    pub precharge: bool,
    /// What stands for 0; its inverse stands for 1.
    pub background: Word,
    /// Mismatches that this sweep records; all are counted.
    pub record: u16,
    count: u8,
    writes: u8,
    inverse: u8,
}

impl Sweep {
    /// A sweep upwards with precharge, background 0 and eight records; `None` for no operation
    /// or over eight.
    pub fn new(ops: &[SweepOp]) -> Option<Self> {
        let count = u8::try_from(ops.len()).ok().filter(|count| (1..=8).contains(count))?;
        let (mut writes, mut inverse) = (0, 0);
        for (bit, op) in ops.iter().enumerate() {
            let (write, one) = match *op {
                SweepOp::Read(one) => (false, one),
                SweepOp::Write(one) => (true, one),
            };
            writes |= u8::from(write) << bit;
            inverse |= u8::from(one) << bit;
        }
        Some(Self {
            down: false,
            precharge: true,
            background: 0,
            record: 8,
            count,
            writes,
            inverse,
        })
    }

    /// From its three bytes; `None` if they are no operations.
    pub(super) fn from_bits(count: u8, writes: u8, inverse: u8) -> Option<Self> {
        let unused = u16::MAX.checked_shl(u32::from(count)).unwrap_or(0);
        let good = (1..=8).contains(&count) && u16::from(writes | inverse) & unused == 0;
        let plain = Self::new(&[SweepOp::Read(false)])?;
        good.then_some(Self { count, writes, inverse, ..plain })
    }

    /// The three bytes: how many, which write, which use the inverse (bit 0 is the first).
    pub(super) const fn bits(&self) -> (u8, u8, u8) {
        (self.count, self.writes, self.inverse)
    }

    /// Operations at each address.
    pub const fn len(&self) -> u8 {
        self.count
    }

    /// Never true: a sweep without operations cannot be made.
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// The operations in order.
    pub fn ops(&self) -> impl Iterator<Item = SweepOp> + use<> {
        let (count, writes, inverse) = self.bits();
        (0..count).map(move |bit| {
            let one = inverse >> bit & 1 == 1;
            if writes >> bit & 1 == 1 { SweepOp::Write(one) } else { SweepOp::Read(one) }
        })
    }

    /// True if it writes anything.
    pub const fn writes(&self) -> bool {
        self.writes != 0
    }
}

/// A line beside the bus that a board may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Line {
    /// The module's reset.
    Reset,
    /// The module's hardware write protection.
    Protect,
    /// A mark for a scope.
    Mark,
}

/// One operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Op {
    /// The cycles that follow are of this shape.
    Shape(ShapeId),
    /// Writes that follow are meant for these data lines only.
    Lanes(Word),
    /// What the data lines outside the lane mask carry in a write.
    Rest(Word),
    /// Sets A.
    SetA(Source),
    /// Adds to A, in words; wraps.
    Step(i16),
    /// Writes a fixed value.
    Write {
        /// The word; bits above the shape's width are dropped.
        value: Word,
        /// Where.
        at: Place,
    },
    /// Writes the payload word at the cursor at A and takes it.
    WritePayload,
    /// Writes N - 1 into every lane at B.
    WriteCount {
        /// The width of a lane.
        lane: Width,
    },
    /// Reads into D.
    Read(Place),
    /// Appends D to the emitted words.
    Emit,
    /// Moves the payload cursor back by one word.
    Previous,
    /// Moves the payload cursor on by one word.
    Next,
    /// Waits for chips.
    Wait(Wait),
    /// Waits for the module's ready line.
    Ready {
        /// Time-out in milliseconds.
        timeout_ms: u32,
    },
    /// Lets time pass.
    Delay {
        /// In microseconds.
        us: u32,
    },
    /// Passes over the next operations if the payload word at the cursor is this.
    SkipIfPayload {
        /// How many operations.
        count: u8,
        /// The payload word.
        value: Word,
    },
    /// Passes over the next operations if D under a mask is this.
    SkipIfD {
        /// How many operations.
        count: u8,
        /// The bits of D that count.
        mask: Word,
        /// What they must be.
        value: Word,
    },
    /// A march element.
    Sweep(Sweep),
    /// Begins a loop.
    Loop(Times),
    /// Ends a loop.
    EndLoop,
    /// Begins a stretch in which a stop waits.
    Critical {
        /// A stop waits for at most so many milliseconds from here.
        max_ms: u32,
    },
    /// Ends that stretch.
    EndCritical,
    /// Begins a stretch without any pause.
    Atomic,
    /// Ends that stretch.
    EndAtomic,
    /// What follows runs at every end but a power loss.
    Finally,
    /// Sets or clears a line beside the bus.
    Line {
        /// Which one.
        line: Line,
        /// Active, whatever level the board has for that.
        active: bool,
    },
}

impl Op {
    /// By how many words it moves the payload cursor.
    pub const fn takes(&self) -> i8 {
        match self {
            Self::SetA(Source::Payload) | Self::WritePayload | Self::Next => 1,
            Self::Previous => -1,
            _ => 0,
        }
    }

    /// True if it looks at the payload word at the cursor.
    pub const fn looks(&self) -> bool {
        matches!(
            self,
            Self::SetA(Source::Payload)
                | Self::WritePayload
                | Self::SkipIfPayload { .. }
                | Self::Wait(Wait { expect: Expect::Payload, .. })
        )
    }

    /// True if an adapter may promise a time of its own for it inside `atomic`; see `docs/script.md`,
    /// "Worst time".
    pub const fn is_quick(&self) -> bool {
        matches!(
            self,
            Self::SetA(_)
                | Self::Write { .. }
                | Self::WritePayload
                | Self::Read(_)
                | Self::Step(_)
                | Self::Emit
                | Self::Previous
                | Self::Next
                | Self::SkipIfPayload { .. }
                | Self::SkipIfD { .. }
                | Self::Loop(_)
                | Self::EndLoop
        )
    }

    /// How many operations it may pass over, if it is a skip.
    pub const fn skips(&self) -> Option<u8> {
        match self {
            Self::SkipIfPayload { count, .. } | Self::SkipIfD { count, .. } => Some(*count),
            _ => None,
        }
    }

    /// True if it uses N.
    pub const fn uses_n(&self) -> bool {
        matches!(self, Self::WriteCount { .. } | Self::Sweep(_) | Self::Loop(Times::N))
    }
}
