//! LINES and WALK: single lines, set, sampled and walked.

use super::field::{Fields, Malformed};

/// One line of the adapter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BoardLine {
    /// A data line.
    Data(u8),
    /// An address line.
    Address(u8),
    /// A control line.
    Control(u8),
}

impl BoardLine {
    fn put(self, out: &mut Vec<u8>) {
        out.extend(match self {
            Self::Data(n) => [0, n],
            Self::Address(n) => [1, n],
            Self::Control(n) => [2, n],
        });
    }

    fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let group = f.code("line group", |group| (group <= 2).then_some(group))?;
        let line = f.code("line", |line| (line < 32).then_some(line))?;
        Ok(match group {
            0 => Self::Data(line),
            1 => Self::Address(line),
            _ => Self::Control(line),
        })
    }
}

/// Levels of every line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct LineLevels {
    /// Data lines.
    pub data: u32,
    /// Address lines.
    pub address: u32,
    /// Control lines.
    pub control: u16,
}

impl LineLevels {
    fn put(self, out: &mut Vec<u8>) {
        out.extend(self.data.to_le_bytes());
        out.extend(self.address.to_le_bytes());
        out.extend(self.control.to_le_bytes());
    }

    fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { data: f.u32("data")?, address: f.u32("address")?, control: f.u16("control")? })
    }

    fn take_contended(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            data: f.u32("contended data")?,
            address: f.u32("contended address")?,
            control: f.u16("contended control")?,
        })
    }
}

/// What to do with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LineAction {
    /// Let go.
    Input,
    /// Let go, with a pull-up.
    PullUp,
    /// Driven low.
    Low,
    /// Driven high.
    High,
}

/// LINES: set the lines listed, sample all.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinesRequest {
    /// Milliseconds until the lines are let go by themselves; 0 lets go at once after sampling.
    pub hold_ms: u16,
    /// Lines and what to do with them; the others are left as they are.
    pub set: Vec<(BoardLine, LineAction)>,
}

impl LinesRequest {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.hold_ms.to_le_bytes());
        out.push(self.set.len() as u8);
        for (line, action) in &self.set {
            line.put(out);
            out.push(*action as u8);
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let hold_ms = f.u16("hold")?;
        let set = f.list("lines", |f| {
            let line = BoardLine::take(f)?;
            let action = f.code("action", |action| {
                [LineAction::Input, LineAction::PullUp, LineAction::Low, LineAction::High]
                    .get(usize::from(action))
                    .copied()
            })?;
            Ok((line, action))
        })?;
        Ok(Self { hold_ms, set })
    }
}

/// LINES' reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LinesReply {
    /// What was sampled.
    pub levels: LineLevels,
    /// Driven lines that read opposite and were let go.
    pub contended: LineLevels,
}

impl LinesReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        self.levels.put(out);
        self.contended.put(out);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { levels: LineLevels::take(f)?, contended: LineLevels::take_contended(f)? })
    }
}

/// WALK: drive each line listed for a moment, sample all, let go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WalkRequest {
    /// New for every walk.
    pub nonce: u16,
    /// The level that each line is driven to; the others rest at the opposite through pulls.
    pub high: bool,
    /// Turns; levels that were seen once in any turn are kept.
    pub turns: u16,
    /// The lines.
    pub lines: Vec<BoardLine>,
}

impl WalkRequest {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.nonce.to_le_bytes());
        out.push(u8::from(self.high));
        out.extend(self.turns.to_le_bytes());
        out.push(self.lines.len() as u8);
        self.lines.iter().for_each(|line| line.put(out));
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            nonce: f.u16("nonce")?,
            high: f.flag("level")?,
            turns: f.u16("turns")?,
            lines: f.list("lines", BoardLine::take)?,
        })
    }
}

/// What was sampled while one line was driven.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WalkRow {
    /// The levels.
    pub levels: LineLevels,
    /// The driven line read opposite and was let go early.
    pub let_go: bool,
}

/// WALK's reply: the whole matrix.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WalkReply {
    /// The request's nonce.
    pub nonce: u16,
    /// A row for each line, in the request's order.
    pub rows: Vec<WalkRow>,
}

impl WalkReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.nonce.to_le_bytes());
        out.push(self.rows.len() as u8);
        for row in &self.rows {
            row.levels.put(out);
            out.push(u8::from(row.let_go));
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let nonce = f.u16("nonce")?;
        let rows = f.list("rows", |f| {
            Ok(WalkRow { levels: LineLevels::take(f)?, let_go: f.flag("let go")? })
        })?;
        Ok(Self { nonce, rows })
    }
}
