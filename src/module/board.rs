//! What the host must know of an adapter's lines to fit a module to it.

use crate::bus::ShapeTimes;

/// The lines of an adapter as it reports them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// Data lines, from D0.
    pub data_lines: u8,
    /// Address lines, from A0.
    pub address_lines: u8,
    /// Control lines; line n is bit n of a shape's levels, so at most 16.
    pub control: Vec<ControlLine>,
    /// The shortest times the board can make.
    pub shortest: ShapeTimes,
    /// How many shapes it holds.
    pub shape_slots: u8,
}

/// A control line of an adapter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ControlLine {
    /// Its name on the board.
    pub name: String,
    /// True if the board names it a write strobe.
    pub write_strobe: bool,
    /// True if its pull resistor on the board goes low.
    pub pulled_down: bool,
}
