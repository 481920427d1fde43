//! What a simulated adapter is like.

use super::event::Event;
use crate::bus::{Baud, Millivolts, Nanos};
use crate::wire::{ControlLine, DataPath, PROTOCOL_MAJOR, Sizes, Supply};

/// How the simulated rail behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RailModel {
    /// False: a short holds it at a fifth of its voltage.
    pub rises: bool,
    /// From switching on to full voltage, rising evenly.
    pub rise: Nanos,
    /// From full voltage to nothing, falling evenly.
    pub fall: Nanos,
    /// The voltage it really reaches; the one asked for if `None`.
    pub reaches: Option<Millivolts>,
    /// It falls to this voltage so long after it has settled.
    pub sag: Option<(Nanos, Millivolts)>,
    /// Something feeds it: it stays at 900 mV after it was switched off.
    pub feeds_back: bool,
}

impl Default for RailModel {
    fn default() -> Self {
        Self {
            rises: true,
            rise: Nanos::from_millis(5),
            fall: Nanos::from_millis(40),
            reaches: None,
            sag: None,
            feeds_back: false,
        }
    }
}

/// A control line that scripts may set by its purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ActiveLine {
    /// Its number among the control lines.
    pub line: u8,
    /// Its level when it is set.
    pub high: bool,
}

/// What a simulated adapter says of itself in HELLO, and how it behaves.
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own about a board")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdapterConfig {
    /// Protocol major number.
    pub major: u8,
    /// Name and version of the firmware.
    pub firmware: String,
    /// Name of the board.
    pub board: String,
    /// Clock of the controller.
    pub clock_hz: u32,
    /// The line rate after a reset; 0 for a line without a rate.
    pub reset_rate: Baud,
    /// Every rate it can be asked for.
    pub rates: Vec<Baud>,
    /// Data lines, at most 32.
    pub data_lines: u8,
    /// Address lines, at most 32.
    pub address_lines: u8,
    /// Control lines, at most 16, line 0 first.
    pub control: Vec<ControlLine>,
    /// What stands between pins and module.
    pub data_path: DataPath,
    /// High level of the I/O pins.
    pub io_high: Millivolts,
    /// It is measured.
    pub io_measured: bool,
    /// The highest level that inputs take.
    pub input_max: Millivolts,
    /// Nominal rails.
    pub rails: Vec<Millivolts>,
    /// Current limit of the rail in mA.
    pub limit_ma: u16,
    /// Where the supply comes from.
    pub supply: Supply,
    /// The rail is measured.
    pub sensed: bool,
    /// Sizes that the host must keep to; HELLO declares no more emitted words than a reply holds.
    pub sizes: Sizes,
    /// The control line that resets the module, and its active level.
    pub reset: Option<ActiveLine>,
    /// The board's write switch is set to locked: no write strobe reaches the module.
    pub write_locked: bool,
    /// The control line that write-protects the module, and its active level.
    pub protect: Option<ActiveLine>,
    /// It has a mark line for a scope, which does not reach the module.
    pub mark: bool,
    /// Silent for so long after a reset.
    pub boot_time: Nanos,
    /// How the rail behaves.
    pub rail: RailModel,
    /// What happens, once each, right after the so-manieth cycle of scripts.
    pub at_cycles: Vec<(u32, Event)>,
    /// HELLO promises times of operations inside `atomic`.
    pub promises: bool,
    /// False: work and line take no time; the timers stay.
    pub charged: bool,
}

impl Default for AdapterConfig {
    fn default() -> Self {
        let control = |name: &str, write_strobe| ControlLine {
            name: name.to_owned(),
            write_strobe,
            pulled_down: false,
        };
        Self {
            major: PROTOCOL_MAJOR,
            firmware: concat!("simulated adapter ", env!("CARGO_PKG_VERSION")).to_owned(),
            board: "bench".to_owned(),
            clock_hz: 16_000_000,
            reset_rate: Baud(115_200),
            rates: [115_200, 250_000, 500_000, 1_000_000].map(Baud).to_vec(),
            data_lines: 32,
            address_lines: 24,
            control: vec![
                control("OE", false),
                control("WE", true),
                control("CS0", false),
                control("CS1", false),
            ],
            data_path: DataPath::Directed,
            io_high: Millivolts(3300),
            io_measured: false,
            input_max: Millivolts(5500),
            rails: vec![Millivolts(3300)],
            limit_ma: 250,
            supply: Supply::Usb,
            sensed: true,
            sizes: Sizes {
                // A run of 339 words of 32 bits, whose other bytes are a twentieth of it; two of them.
                rx_body_max: 1400,
                rx_queue_bytes: 2900,
                tx_body_max: 1056,
                shape_slots: 8,
                script_slots: 8,
                script_bytes: 512,
                runs_remembered: 4,
                emit_remembered: 256,
            },
            reset: None,
            write_locked: false,
            protect: None,
            mark: false,
            boot_time: Nanos::from_millis(300),
            rail: RailModel::default(),
            at_cycles: Vec::new(),
            promises: true,
            charged: true,
        }
    }
}

impl AdapterConfig {
    /// The control lines that the board names write strobes, as a mask.
    pub(super) fn write_strobes(&self) -> u16 {
        self.control_mask(|line| line.write_strobe)
    }

    /// The levels of control lines that nobody drives, as a mask of the high ones.
    pub(super) fn pulled_up(&self) -> u16 {
        self.control_mask(|line| !line.pulled_down)
    }

    fn control_mask(&self, wanted: impl Fn(&ControlLine) -> bool) -> u16 {
        let lines = self.control.iter().take(16).enumerate();
        lines.filter(|(_, line)| wanted(line)).fold(0, |mask, (n, _)| mask | 1 << n)
    }
}
