//! What can be ordered by hand, and what comes of it.

use crate::bus::{Word, WordAddress};
use crate::chips::Verdict;
use crate::wire::LineLevels;

/// Something to do on the bus. Addresses are word addresses as the module's address lines count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// Read a word, once after zeros and once after ones.
    Read {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
    },
    /// Write a word and read it back.
    Write {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What.
        value: Word,
    },
    /// Keep one cycle still; a write where there is a value.
    Hold {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What is written.
        value: Option<Word>,
    },
    /// Let a held cycle go.
    LetGo,
    /// Sample every line; a held cycle ends with it.
    Lines,
    /// Leave to write in a space, for a time.
    Allow {
        /// Index of the space in the sheet.
        space: usize,
        /// How long.
        seconds: u16,
        /// The first and the last word where flash chips may be changed; `None` for nowhere.
        changes: Option<(WordAddress, WordAddress)>,
    },
    /// Leave to write is given back.
    Lock,
}

/// What came of an order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The word as it was after zeros and after ones.
    Read {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// After the data lines were charged to zeros, and to ones.
        words: [Word; 2],
    },
    /// The write was made, and this is what reads back.
    Written {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What was written.
        value: Word,
        /// After zeros and after ones.
        words: [Word; 2],
        /// What it does to the chips of a flash space.
        does: Option<Verdict>,
    },
    /// The cycle stands.
    Held {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What is written, if it is a write.
        value: Option<Word>,
        /// The levels of the space's data lines.
        data: Word,
    },
    /// Nothing is held any more.
    LetGo,
    /// The level of every line.
    Lines(LineLevels),
    /// Writes are allowed.
    Allowed {
        /// The space.
        space: usize,
        /// How long from now.
        seconds: u16,
        /// The first and the last word where flash chips may be changed.
        changes: Option<(WordAddress, WordAddress)>,
    },
    /// The write was not made: it would change a flash chip, and there is no leave for that here.
    Asks {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What was to be written.
        value: Word,
        /// What it would do.
        verdict: Verdict,
    },
    /// Writes are locked.
    Locked,
    /// It was not done, and why.
    Refused(String),
}

/// What there is to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// This.
    Order(Order),
    /// Nothing yet.
    Nothing,
    /// The rail is to be switched off.
    End,
}
