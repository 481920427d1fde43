//! What an adapter allows a script.

use crate::bus::{Nanos, Width, Word};

/// When a write may be meant for some of the data lines only.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum LaneRule {
    /// Never: the other lanes would be written too (RAM, pages).
    Whole,
    /// With a rest value, which the other lanes take as no command.
    #[default]
    Rest,
    /// Always: each lane has a write strobe of its own.
    Strobes,
}

/// What the checker knows of a shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SlotRule {
    /// The width of its word.
    pub width: Width,
    /// Whether its writes may be partial.
    pub lanes: LaneRule,
}

/// What an adapter allows a script, and how slow it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of a slot.
    pub bytes: u32,
    /// Loops within each other, two to [`Limits::DEEPEST`].
    pub nesting: u8,
    /// The longest run.
    pub time: Nanos,
    /// The longest critical stretch.
    pub critical: Nanos,
    /// Emitted words that are remembered.
    pub emitted: u32,
    /// Mismatches that are remembered.
    pub mismatches: u16,
    /// The shape slots; `None` for one that is not defined.
    pub shapes: Vec<Option<SlotRule>>,
    /// The longest cycle of any shape, precharge included.
    pub cycle: Nanos,
    /// The longest time that an operation itself takes, without its cycles.
    pub op: Nanos,
    /// The same of those that are quick inside `atomic` ([`Op::is_quick`](super::Op::is_quick)); zero:
    /// the adapter promises nothing of the kind, and they last as long as all.
    pub atomic_op: Nanos,
    /// The longest cycle of any shape in one of them.
    pub atomic_cycle: Nanos,
}

impl Limits {
    /// Loops within each other that any adapter may allow at most.
    pub const DEEPEST: u8 = 4;
    /// The longest atomic stretch.
    pub const ATOMIC: Nanos = Nanos::from_millis(20);
    /// What passes between two polls of a wait at least.
    pub const POLL_PAUSE: Nanos = Nanos::from_micros(1);

    /// Limits of an adapter with these shapes in its first slots: 512 bytes, four loops, ten
    /// minutes, 1,024 words emitted, 64 mismatches, 20 us a cycle and as much an operation.
    pub fn with_shapes(shapes: impl IntoIterator<Item = SlotRule>) -> Self {
        Self {
            bytes: 512,
            nesting: Self::DEEPEST,
            time: Nanos::from_secs(600),
            critical: Nanos::from_secs(600),
            emitted: 1024,
            mismatches: 64,
            shapes: shapes.into_iter().map(Some).collect(),
            cycle: Nanos::from_micros(20),
            op: Nanos::from_micros(20),
            atomic_op: Nanos::ZERO,
            atomic_cycle: Nanos::ZERO,
        }
    }

    /// The rule of a slot; `None` if it is not defined.
    pub fn slot(&self, slot: u8) -> Option<SlotRule> {
        self.shapes.get(usize::from(slot)).copied().flatten()
    }
}

/// True if `mask` leaves out data lines of a word of `width`.
pub(super) const fn partial(mask: Word, width: Width) -> bool {
    mask & width.ones() != width.ones()
}
