//! The command decoder of a part of the Intel family on 16 data lines.
//!
//! Datasheets 28F128J3A p22, 28F320W30 table 4: FF reading, 90 ids, 98 query, 70 status, 50 clear
//! status; 20 and D0 erase; 40 and data program; E8, count less one, data, D0 a write buffer. Locks
//! (60) are no part of what these tests do: the emulated parts have none.

use super::cells::Cells;

/// Words of the emulated write buffer of one chip (its query table: 2^11 bytes).
const BUFFER: u32 = 1024;

/// What has been written of a command.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Intel {
    /// The contents are shown.
    #[default]
    Reading,
    /// Ids, query table or status are shown.
    Showing,
    /// 20 for this sector.
    Erase(u32),
    /// 40 for this word.
    Program(u32),
    /// E8 for this sector.
    Buffer(u32),
    /// Words that are still to come, and those that have.
    Load { left: u32, words: Vec<(u32, u16)> },
    /// All of them have come.
    Loaded(Vec<(u32, u16)>),
}

impl Intel {
    pub fn is_reading(&self) -> bool {
        *self == Self::Reading
    }

    pub fn write(&mut self, cells: &mut Cells, at: u32, value: u16) -> Result<(), String> {
        // Codes go to the first word, or into a sector that is changed.
        if at != 0 && !cells.may_change(at) {
            return Err("no address of a command".into());
        }
        let code = value as u8;
        *self = match (std::mem::take(self), code) {
            (Self::Program(word), _) if word == at => {
                cells.program(at, value)?;
                Self::Showing
            }
            (Self::Erase(sector), 0xD0) if sector == at => {
                cells.erase(at)?;
                Self::Showing
            }
            (Self::Buffer(sector), _) if sector == cells.sector_at(at) => {
                let left = u32::from(value) + 1;
                if left > BUFFER {
                    return Err(format!("{left} words for a buffer of {BUFFER}"));
                }
                Self::Load { left, words: Vec::new() }
            }
            (Self::Load { left, words }, _) => loaded(cells, left, words, (at, value))?,
            (Self::Loaded(words), 0xD0) if in_one_sector(cells, &words, at) => {
                for (at, value) in words {
                    cells.program(at, value)?;
                }
                Self::Showing
            }
            (Self::Reading | Self::Showing, code) => begun(cells, at, code)?,
            (state, _) => return Err(format!("no step of a command after {state:?}")),
        };
        Ok(())
    }
}

/// A new command.
fn begun(cells: &Cells, at: u32, code: u8) -> Result<Intel, String> {
    let change = |state| {
        let message = format!("{code:X} outside the plan's sectors");
        if cells.may_change(at) { Ok(state) } else { Err(message) }
    };
    match code {
        0xFF => Ok(Intel::Reading),
        // After 50 a part shows what it showed before; until it is told to read, that may be status.
        0x90 | 0x98 | 0x70 | 0x50 => Ok(Intel::Showing),
        0x20 => change(Intel::Erase(at)),
        0x40 | 0x10 => change(Intel::Program(at)),
        0xE8 => change(Intel::Buffer(cells.sector_at(at))),
        _ => Err(format!("{code:X} begins no command that is known here")),
    }
}

/// A further word of a buffer: all of them lie in one of its lines.
fn loaded(
    cells: &Cells,
    left: u32,
    mut words: Vec<(u32, u16)>,
    word: (u32, u16),
) -> Result<Intel, String> {
    let first = words.first().map_or(word.0, |first| first.0);
    if first / BUFFER != word.0 / BUFFER || cells.sector_at(first) != cells.sector_at(word.0) {
        return Err(format!("a word of a buffer that began at {first:X}, in another line"));
    }
    words.push(word);
    let left = left - 1;
    Ok(if left == 0 { Intel::Loaded(words) } else { Intel::Load { left, words } })
}

fn in_one_sector(cells: &Cells, words: &[(u32, u16)], at: u32) -> bool {
    words.first().is_some_and(|first| cells.sector_at(first.0) == cells.sector_at(at))
}
