//! What is wrong with a chip.

/// How the erase of a worn sector ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wear {
    /// The chip gives up after its longest time and says so.
    Reported,
    /// It stays busy until it loses its supply.
    Never,
}

/// How long a chip takes for everything.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ChipPace {
    /// The typical time.
    #[default]
    Typical,
    /// A twentieth less than the longest.
    NearLongest,
    /// This many hundredths of the typical time: one chip early or late.
    Percent(u32),
}

/// A cell that does not change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StuckBit {
    /// The word, counted from the start of the chip.
    pub at: u32,
    /// The bit of the chip's own word.
    pub bit: u8,
    /// Its level.
    pub high: bool,
}

/// Everything that is wrong with one chip.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ChipFaults {
    /// Sectors that cannot be erased any more.
    pub worn: Vec<(usize, Wear)>,
    /// Cells that do not change.
    pub stuck: Vec<StuckBit>,
    /// How fast it is.
    pub pace: ChipPace,
    /// Its programming voltage is too low.
    pub vpp_low: bool,
    /// Sectors that are locked from the start.
    pub locked: Vec<usize>,
    /// It answers noise and takes no command.
    pub nonsense: bool,
    /// Words, counted from the start of the chip, whose load aborts a write buffer.
    pub aborts_at: Vec<u32>,
    /// Programming a 1 over a 0 ends as if it had worked.
    pub ones_look_good: bool,
}
