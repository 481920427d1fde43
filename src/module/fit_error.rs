//! Why a module must not or cannot be used with an adapter.

use super::{Level, LineName};
use crate::bus::ShapeRefusal;
use thiserror::Error;

/// Why a module does not fit a board.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum FitError {
    /// Too few data lines.
    #[error(
        "module `{module}` needs {needs} data lines, the board has {has}: {missing} missing; use a wider adapter"
    )]
    DataLines {
        /// The module.
        module: String,
        /// Lines needed.
        needs: u32,
        /// Lines of the board.
        has: u8,
        /// The lines it lacks.
        missing: String,
    },
    /// Too few address lines.
    #[error(
        "module `{module}` needs {needs} address lines, the board has {has}: {missing} missing; use an adapter with more"
    )]
    AddressLines {
        /// The module.
        module: String,
        /// Lines needed.
        needs: u8,
        /// Lines of the board.
        has: u8,
        /// The lines it lacks.
        missing: String,
    },
    /// A control line that the board does not have.
    #[error(
        "module line {line} needs a control line `{wanted}` of the board, which has {has}; rename it in the sheet, or say in an adapter sheet which pin it leads to"
    )]
    ControlLine {
        /// The module's line.
        line: String,
        /// The board's line that should carry it.
        wanted: String,
        /// The control lines of the board.
        has: String,
    },
    /// More control lines than a shape can name.
    #[error(
        "the board reports {0} control lines, a shape names 16; its firmware must report no more"
    )]
    TooManyControl(usize),
    /// A control line the board names twice.
    #[error("the board reports control line `{0}` twice; its firmware must give each its own name")]
    ControlTwice(String),
    /// More spaces than shape slots.
    #[error(
        "module `{module}` has {spaces} spaces and needs {needs} shape slots, two each; the board has {has}"
    )]
    Slots {
        /// The module.
        module: String,
        /// Its spaces.
        spaces: usize,
        /// Slots needed.
        needs: usize,
        /// Slots of the board.
        has: u8,
    },
    /// A module sheet without pins beside an adapter sheet.
    #[error(
        "adapter sheet `{adapter}` goes by connector pins, but the sheet of module `{module}` has no [pins]; add them, or leave the adapter sheet out"
    )]
    NoPins {
        /// The adapter sheet.
        adapter: String,
        /// The module.
        module: String,
    },
    /// A module line of which nobody knows the pin.
    #[error(
        "module line {line} is not traced to a pin, so nothing says which adapter line reaches it; trace it and add it to [pins]"
    )]
    NotTraced {
        /// The module's line.
        line: LineName,
    },
    /// A module line whose pin no adapter line reaches.
    #[error(
        "module line {line} is on pin {pins}, which no line of adapter sheet `{adapter}` leads to; wire it, or correct one of the sheets"
    )]
    NotWired {
        /// The module's line.
        line: LineName,
        /// Its pins.
        pins: String,
        /// The adapter sheet.
        adapter: String,
    },
    /// A data or address line that does not run straight.
    #[error(
        "module line {line} on pin {pin} leads to adapter line {found}, expected {line}; lines in another order are not supported by this version: rewire, or correct one of the sheets"
    )]
    NotStraight {
        /// The module's line.
        line: LineName,
        /// The pin.
        pin: String,
        /// The adapter line found there.
        found: LineName,
    },
    /// A control line of the module on a data or address line of the adapter.
    #[error(
        "module line {line} on pin {pin} leads to adapter line {found}, expected a control line; rewire, or correct one of the sheets"
    )]
    NotControl {
        /// The module's line.
        line: String,
        /// The pin.
        pin: String,
        /// The adapter line found there.
        found: LineName,
    },
    /// One module line on two adapter lines.
    #[error(
        "module line {line} joins adapter lines {first} and {second}, whose outputs would fight; leave one of them open"
    )]
    TwoLines {
        /// The module's line.
        line: LineName,
        /// An adapter line.
        first: LineName,
        /// Another adapter line.
        second: LineName,
    },
    /// An adapter line on a supply pin.
    #[error(
        "adapter line {line} leads to pin {pin}, which is {supply} on the module; driving it would be a short: leave it open"
    )]
    LineOnSupply {
        /// The adapter line.
        line: LineName,
        /// The pin.
        pin: String,
        /// What the module has there.
        supply: LineName,
    },
    /// A select that the board's pull resistor makes active.
    #[error(
        "select {line} of space `{space}` is active {level}, and the board pulls its line {board_line} {level}, so the space would be selected whenever nothing drives it; {}", remedy(*level)
    )]
    SelectPulledActive {
        /// The module's line.
        line: String,
        /// The board's line.
        board_line: String,
        /// The active level.
        level: Level,
        /// The space.
        space: String,
    },
    /// Write strobes that the board's pull resistors make active.
    #[error(
        "the board's pull resistors bring every write strobe of space `{space}` ({lines}) to its active level; turn the resistor of one of them round"
    )]
    WritePulledActive {
        /// The space.
        space: String,
        /// Its write strobes.
        lines: String,
    },
    /// A control line without a level at which nothing happens.
    #[error(
        "control line {line} has no level that leaves space `{space}` idle; correct the levels of `select`, `read` and `write` in the module sheet"
    )]
    NoIdle {
        /// The module's line.
        line: String,
        /// The space.
        space: String,
    },
    /// A read that another space would take for a write.
    #[error(
        "reading space `{read}` shows every level of the write strobe of space `{written}`; correct the strobes in the module sheet"
    )]
    ReadWritesOther {
        /// The space that is read.
        read: String,
        /// The space that would be written.
        written: String,
    },
    /// A shape that must not be used.
    #[error(
        "the shape of space `{space}` is refused: {refusal}; correct `select`, `read` and `write` in the module sheet"
    )]
    Shape {
        /// The space.
        space: String,
        /// Why.
        refusal: ShapeRefusal,
    },
    /// Twice the access time does not fit a shape.
    #[error(
        "space `{space}` needs a strobe of {needs} ns at twice its access time, a shape holds at most 65535 ns; lower `access_ns`, or use a board whose shortest strobe is shorter"
    )]
    TooSlow {
        /// The space.
        space: String,
        /// Twice the strobe in nanoseconds.
        needs: u32,
    },
}

fn remedy(active: Level) -> &'static str {
    match active {
        Level::High => "fit a pull-down there and name the line in `pulled_down`",
        Level::Low => "fit a pull-up there",
    }
}

impl FitError {
    /// True if going on could harm the module or its contents, not only fail.
    pub const fn is_safety(&self) -> bool {
        match self {
            Self::TwoLines { .. }
            | Self::LineOnSupply { .. }
            | Self::NotTraced { .. }
            | Self::ControlTwice(_)
            | Self::SelectPulledActive { .. }
            | Self::WritePulledActive { .. }
            | Self::NoIdle { .. }
            | Self::ReadWritesOther { .. }
            | Self::Shape { .. } => true,
            Self::DataLines { .. }
            | Self::AddressLines { .. }
            | Self::ControlLine { .. }
            | Self::TooManyControl(_)
            | Self::Slots { .. }
            | Self::NoPins { .. }
            | Self::NotWired { .. }
            | Self::NotStraight { .. }
            | Self::NotControl { .. }
            | Self::TooSlow { .. } => false,
        }
    }
}
