//! Shapes: how the control lines move in one bus cycle.

use super::{Nanos, Width};
use std::fmt;
use thiserror::Error;

/// The slot a shape is kept in on the adapter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ShapeId(pub u8);

impl fmt::Display for ShapeId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "shape {}", self.0)
    }
}

/// Levels of some of the control lines: bit n is the adapter's control line n.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Levels {
    /// The lines that are meant.
    pub mask: u16,
    /// Their levels; bits outside the mask are zero.
    pub level: u16,
}

impl Levels {
    /// These levels with those of `over` laid on top.
    pub const fn then(self, over: Self) -> Self {
        Self {
            mask: self.mask | over.mask,
            level: (self.level & !over.mask) | (over.level & over.mask),
        }
    }

    /// True if every line of `wanted` is meant here and has the same level.
    pub const fn shows(self, wanted: Self) -> bool {
        self.mask & wanted.mask == wanted.mask && (self.level ^ wanted.level) & wanted.mask == 0
    }
}

/// The two steps from idle to an active cycle; each is laid over the one before.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Phases {
    /// Address valid, selects active.
    pub setup: Levels,
    /// The strobe that moves the word.
    pub strobe: Levels,
}

/// The times of a cycle in nanoseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct ShapeTimes {
    /// From address and selects to the strobe.
    pub setup: u16,
    /// The strobe; on a read the word is sampled at its end.
    pub pulse: u16,
    /// From the end of the strobe to the next change of address or data.
    pub hold: u16,
    /// Idle between two cycles.
    pub recover: u16,
    /// From outputs disabled to the bus let go.
    pub release: u16,
}

impl ShapeTimes {
    /// The time of one cycle without precharge.
    pub fn cycle(&self) -> Nanos {
        Nanos([self.setup, self.pulse, self.hold, self.recover].into_iter().map(u64::from).sum())
    }
}

/// How the control lines move in one cycle, and how long each step lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Shape {
    /// The width of the word that a cycle moves.
    pub width: Width,
    /// The adapter's data line that is bit 0 of the word.
    pub first_line: u8,
    /// Between cycles: nothing selected.
    pub idle: Levels,
    /// A read.
    pub read: Phases,
    /// A write; a read-only shape has none.
    pub write: Option<Phases>,
    /// Times of each step.
    pub times: ShapeTimes,
}

/// Why a shape must not be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ShapeRefusal {
    /// Idle, read set-up or read strobe looks like a write strobe.
    #[error("its {phase} shows every level of the write strobe, so reading would write")]
    ReadWrites {
        /// The phase that is wrong.
        phase: &'static str,
    },
    /// A read moves a line that the board names a write strobe.
    #[error("a read moves control line {line}, which the board names a write strobe")]
    ReadMovesWriteStrobe {
        /// The control line.
        line: u8,
    },
    /// A phase names a control line that the board does not have.
    #[error("it names control line {line}; the board has {has}")]
    NoSuchLine {
        /// The control line.
        line: u8,
        /// Control lines of the board.
        has: u8,
    },
    /// The data lines do not fit the board.
    #[error("it needs data lines up to D{last}; the board has {has}")]
    NoSuchData {
        /// The highest data line needed.
        last: u32,
        /// Data lines of the board.
        has: u8,
    },
    /// A level is given for a line outside its mask.
    #[error("a level is given for a control line outside its mask")]
    LevelOutsideMask,
    /// The idle levels say something else than those of another shape.
    #[error("its idle levels contradict those of {other}")]
    IdleContradicts {
        /// The other shape.
        other: ShapeId,
    },
    /// Together with another shape, a read looks like a write.
    #[error(
        "with it, a read of one shape shows every level of another's write strobe: see {other}"
    )]
    ReadWritesOther {
        /// The other shape.
        other: ShapeId,
    },
}

impl ShapeRefusal {
    /// The number that a FAULT *shape refused* carries as its detail: the reason in bits 0 to 7,
    /// what it is about in bits 8 to 15.
    pub fn detail(self) -> u32 {
        let (reason, about) = match self {
            Self::ReadWrites { phase: "idle" } => (1, 0),
            Self::ReadWrites { phase: "read set-up" } => (1, 1),
            Self::ReadWrites { .. } => (1, 2),
            Self::ReadMovesWriteStrobe { line } => (2, u32::from(line)),
            Self::NoSuchLine { line, .. } => (3, u32::from(line)),
            Self::NoSuchData { last, .. } => (4, last),
            Self::LevelOutsideMask => (5, 0),
            Self::IdleContradicts { other } => (6, u32::from(other.0)),
            Self::ReadWritesOther { other } => (7, u32::from(other.0)),
        };
        reason | (about & 0xFF) << 8
    }
}

impl Shape {
    /// The levels of every line named by the shape while the read strobe lasts.
    pub const fn reading(&self) -> Levels {
        self.idle.then(self.read.setup).then(self.read.strobe)
    }

    /// The levels while the write strobe lasts; `None` for a read-only shape.
    pub fn writing(&self) -> Option<Levels> {
        self.write.map(|write| self.idle.then(write.setup).then(write.strobe))
    }

    /// Checks the shape against a board with `control` control lines and `data` data lines, of
    /// which `write_strobes` are named write strobes (`docs/wire.md`, "Which shapes are refused":
    /// reading must be write-free by construction).
    pub fn check(&self, control: u8, data: u8, write_strobes: u16) -> Result<(), ShapeRefusal> {
        let none = Phases::default();
        let write = self.write.unwrap_or(none);
        for levels in [self.idle, self.read.setup, self.read.strobe, write.setup, write.strobe] {
            if levels.level & !levels.mask != 0 {
                return Err(ShapeRefusal::LevelOutsideMask);
            }
            let unknown = u32::from(levels.mask).checked_shr(u32::from(control)).unwrap_or(0);
            if unknown != 0 {
                let line = control + unknown.trailing_zeros() as u8;
                return Err(ShapeRefusal::NoSuchLine { line, has: control });
            }
        }
        let last = u32::from(self.first_line) + self.width.bits() - 1;
        if last >= u32::from(data) {
            return Err(ShapeRefusal::NoSuchData { last, has: data });
        }
        let idle = self.idle;
        let set_up = idle.then(self.read.setup);
        let strobe = set_up.then(self.read.strobe);
        let moved = (set_up.level ^ idle.level) | (strobe.level ^ idle.level);
        let moved = moved | (strobe.mask & !idle.mask);
        if moved & write_strobes != 0 {
            let line = (moved & write_strobes).trailing_zeros() as u8;
            return Err(ShapeRefusal::ReadMovesWriteStrobe { line });
        }
        match self.reads_as_write_of(self, idle) {
            Some(phase) => Err(ShapeRefusal::ReadWrites { phase }),
            None => Ok(()),
        }
    }

    /// Checks the shape, meant for slot `id`, beside those in other slots and the idle levels
    /// that are `held` already.
    pub fn check_beside<'a>(
        &'a self,
        id: ShapeId,
        held: Levels,
        others: impl Iterator<Item = (ShapeId, &'a Self)> + Clone,
    ) -> Result<(), ShapeRefusal> {
        if let Some((other, _)) = others.clone().find(|(_, other)| !other.idles_with(self)) {
            return Err(ShapeRefusal::IdleContradicts { other });
        }
        if (held.level ^ self.idle.level) & held.mask & self.idle.mask != 0 {
            return Err(ShapeRefusal::IdleContradicts { other: id });
        }
        // Lines that one shape does not name stand at the idle level of those that do.
        let all = others.chain([(id, self)]);
        let idle = all.clone().fold(held, |idle, (_, shape)| idle.then(shape.idle));
        for (reader, reading) in all.clone() {
            for (writer, writing) in all.clone() {
                if reading.reads_as_write_of(writing, idle).is_some() {
                    let other = if reader == id { writer } else { reader };
                    return Err(ShapeRefusal::ReadWritesOther { other });
                }
            }
        }
        Ok(())
    }

    /// The phase of a read by this shape that shows every level to which the write strobe of
    /// `writer` brings a line from `idle`, the idle levels of all shapes together.
    pub fn reads_as_write_of(&self, writer: &Self, idle: Levels) -> Option<&'static str> {
        let write = writer.write?;
        let writing = idle.then(write.setup).then(write.strobe);
        let changed = (writing.level ^ idle.level) | (writing.mask & !idle.mask);
        let wanted = Levels { mask: changed, level: writing.level & changed };
        let set_up = idle.then(self.read.setup);
        let strobe = set_up.then(self.read.strobe);
        [("idle", idle), ("read set-up", set_up), ("read strobe", strobe)]
            .into_iter()
            .find(|(_, levels)| levels.shows(wanted))
            .map(|(phase, _)| phase)
    }

    /// True if no line that both shapes name in idle has different idle levels.
    pub const fn idles_with(&self, other: &Self) -> bool {
        (self.idle.level ^ other.idle.level) & self.idle.mask & other.idle.mask == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OE: u16 = 1;
    const WE: u16 = 2;
    const CS: u16 = 4;

    fn low(mask: u16) -> Levels {
        Levels { mask, level: 0 }
    }

    fn plain() -> Shape {
        Shape {
            width: Width::W16,
            first_line: 0,
            idle: Levels { mask: OE | WE | CS, level: OE | WE | CS },
            read: Phases { setup: low(CS), strobe: low(OE) },
            write: Some(Phases { setup: low(CS), strobe: low(WE) }),
            times: ShapeTimes::default(),
        }
    }

    #[test]
    fn an_ordinary_shape_is_good() {
        assert_eq!(plain().check(3, 16, WE), Ok(()));
        assert_eq!(plain().reading(), Levels { mask: 7, level: WE });
    }

    #[test]
    fn a_read_that_would_write_is_refused() {
        let mut shape = plain();
        shape.read.strobe = low(WE);
        assert_eq!(shape.check(3, 16, 0), Err(ShapeRefusal::ReadWrites { phase: "read strobe" }));
        assert_eq!(shape.check(3, 16, WE), Err(ShapeRefusal::ReadMovesWriteStrobe { line: 1 }));
        shape = plain();
        shape.idle.level &= !(WE | CS);
        assert!(matches!(shape.check(3, 16, 0), Err(ShapeRefusal::ReadWrites { .. })));
    }

    #[test]
    fn a_read_that_would_be_another_shape_s_write_is_refused() {
        // What one takes for its output enable is the other's write strobe.
        let mut crossed = plain();
        crossed.read.strobe = low(WE);
        crossed.write = None;
        assert_eq!(crossed.check(3, 16, 0), Ok(()));
        let (a, b) = (ShapeId(4), ShapeId(9));
        let beside = |shape: &Shape, other: &Shape| {
            shape.check_beside(a, Levels::default(), [(b, other)].into_iter())
        };
        let refused = Err(ShapeRefusal::ReadWritesOther { other: b });
        assert_eq!(beside(&crossed, &plain()), refused, "the reader comes last");
        assert_eq!(beside(&plain(), &crossed), refused, "the writer comes last");
        assert_eq!(ShapeRefusal::ReadWritesOther { other: b }.detail(), 7 | 9 << 8);
        assert_eq!(beside(&plain(), &plain()), Ok(()));
    }

    #[test]
    fn idle_levels_of_other_shapes_count_as_shown() {
        // The second write enable, of which the shape names only the active level, stands at it
        // between cycles because another shape or an earlier session says so.
        let second = 8;
        let mut shape = plain();
        shape.write = Some(Phases { setup: low(CS), strobe: low(second) });
        assert_eq!(shape.check(4, 16, 0), Ok(()));
        let none = || std::iter::empty::<(ShapeId, &Shape)>();
        assert_eq!(shape.check_beside(ShapeId(0), Levels::default(), none()), Ok(()));
        let refused = |other| Err(ShapeRefusal::ReadWritesOther { other });
        assert_eq!(shape.check_beside(ShapeId(0), low(second), none()), refused(ShapeId(0)));
        let mut third = plain();
        third.idle.mask |= second;
        let beside = [(ShapeId(0), &shape)].into_iter();
        let got = third.check_beside(ShapeId(1), Levels::default(), beside);
        assert!(matches!(got, Err(ShapeRefusal::ReadWritesOther { .. })), "{got:?}");
    }

    #[test]
    fn idle_levels_must_agree_with_other_shapes_and_with_those_held() {
        let mut other = plain();
        other.idle.level &= !CS;
        let got =
            plain().check_beside(ShapeId(0), Levels::default(), [(ShapeId(3), &other)].into_iter());
        assert_eq!(got, Err(ShapeRefusal::IdleContradicts { other: ShapeId(3) }));
        let got = plain().check_beside(ShapeId(2), low(OE), std::iter::empty());
        assert_eq!(got, Err(ShapeRefusal::IdleContradicts { other: ShapeId(2) }));
    }

    #[test]
    fn lines_the_board_lacks_are_named() {
        assert_eq!(plain().check(2, 16, 0), Err(ShapeRefusal::NoSuchLine { line: 2, has: 2 }));
        assert_eq!(plain().check(3, 8, 0), Err(ShapeRefusal::NoSuchData { last: 15, has: 8 }));
    }
}
