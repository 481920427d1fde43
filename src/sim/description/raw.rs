//! The keys of a bench file, as they stand there.

use super::BenchError;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawBench {
    pub(super) format: Spanned<u32>,
    pub(super) sheet: String,
    pub(super) specimen: String,
    pub(super) board: Option<String>,
    pub(super) state: Option<String>,
    #[serde(default)]
    pub(super) adapter: Option<Spanned<RawAdapter>>,
    #[serde(default)]
    pub(super) line: RawLine,
    #[serde(default)]
    pub(super) faults: RawFaults,
    #[serde(default)]
    pub(super) rail: RawRail,
    #[serde(default)]
    pub(super) memory: Vec<Spanned<RawMemory>>,
    #[serde(default)]
    pub(super) line_fault: Vec<Spanned<RawLineFault>>,
    #[serde(default)]
    pub(super) chip_fault: Vec<Spanned<RawChipFault>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawAdapter {
    pub(super) protocol_major: Option<u8>,
    pub(super) firmware: Option<String>,
    pub(super) clock_hz: Option<u32>,
    pub(super) reset_rate: Option<u32>,
    pub(super) rates: Option<Vec<u32>>,
    pub(super) data_lines: Option<u8>,
    pub(super) address_lines: Option<u8>,
    pub(super) control: Option<Vec<RawControl>>,
    pub(super) data_path: Option<RawDataPath>,
    pub(super) io_high_mv: Option<u16>,
    pub(super) io_measured: Option<bool>,
    pub(super) input_max_mv: Option<u16>,
    pub(super) rails_mv: Option<Vec<u16>>,
    pub(super) limit_ma: Option<u16>,
    pub(super) supply: Option<RawSupply>,
    pub(super) sensed: Option<bool>,
    pub(super) shape_slots: Option<u8>,
    pub(super) rx_body_max: Option<u16>,
    pub(super) rx_queue_bytes: Option<u16>,
    pub(super) tx_body_max: Option<u16>,
    pub(super) boot_ms: Option<u32>,
    pub(super) restarts_on_open: Option<bool>,
    pub(super) restarts_at_cycle: Option<Spanned<u32>>,
    pub(super) write_locked: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawControl {
    pub(super) name: String,
    #[serde(default)]
    pub(super) write_strobe: bool,
    #[serde(default)]
    pub(super) pulled_down: bool,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawDataPath {
    Direct,
    Directed,
    AutoDirection,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawSupply {
    Usb,
    Own,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawPace {
    #[default]
    Real,
    Instant,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLine {
    pub(super) fastest: Option<u32>,
    #[serde(default)]
    pub(super) pace: RawPace,
    pub(super) packet: Option<Spanned<usize>>,
    pub(super) latency_ms: Option<u32>,
    pub(super) delay_ms: Option<u32>,
    pub(super) breaks_at_cycle: Option<Spanned<u32>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawFaults {
    #[serde(default)]
    pub(super) seed: u64,
    #[serde(default)]
    pub(super) request: RawOdds,
    #[serde(default)]
    pub(super) reply: RawOdds,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawOdds {
    pub(super) drop: Option<Spanned<f64>>,
    pub(super) flip: Option<Spanned<f64>>,
    pub(super) double: Option<Spanned<f64>>,
    pub(super) lost_delimiter: Option<Spanned<f64>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawRail {
    pub(super) rises: Option<bool>,
    pub(super) rise_ms: Option<u32>,
    pub(super) fall_ms: Option<u32>,
    pub(super) nominal_mv: Option<u16>,
    pub(super) sags_after_ms: Option<Spanned<u32>>,
    pub(super) sags_at_cycle: Option<Spanned<u32>>,
    pub(super) sag_mv: Option<Spanned<u16>>,
    pub(super) feeds_back: Option<bool>,
    pub(super) module_needs_mv: Option<u16>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawKind {
    Flash,
    Ram,
    Rom,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawLevel {
    Low,
    High,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawFill {
    #[default]
    Generated,
    Blank,
    File,
}

pub(super) type RawLevels = BTreeMap<String, RawLevel>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawMemory {
    pub(super) kind: RawKind,
    pub(super) name: String,
    pub(super) width: Spanned<u32>,
    #[serde(default)]
    pub(super) first_line: u8,
    #[serde(default)]
    pub(super) base: u32,
    pub(super) words: Spanned<u32>,
    pub(super) select: Spanned<RawLevels>,
    pub(super) read: Option<Spanned<RawLevels>>,
    pub(super) write: Option<Spanned<RawLevels>>,
    pub(super) access_ns: Option<u32>,
    pub(super) battery: Option<bool>,
    #[serde(default)]
    pub(super) fill: RawFill,
    pub(super) file: Option<String>,
    /// One type for every lane.
    pub(super) chip: Option<Spanned<String>>,
    /// A type for each lane, that on the lowest data lines first.
    pub(super) chips: Option<Spanned<Vec<String>>>,
    /// A supervisor holds the chips deselected for so long after power.
    pub(super) held_ms: Option<u32>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawChipTrouble {
    WornSector,
    StuckBit,
    Slow,
    Pace,
    VppLow,
    Locked,
    Nonsense,
    OnesLookGood,
    BufferAbort,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawWear {
    #[default]
    Reported,
    Never,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawChipFault {
    pub(super) memory: Spanned<String>,
    /// 0 is the chip on the lowest data lines; every chip of the memory if missing.
    pub(super) chip: Option<Spanned<usize>>,
    pub(super) kind: RawChipTrouble,
    pub(super) sectors: Option<Spanned<Vec<usize>>>,
    #[serde(default)]
    pub(super) ends: RawWear,
    pub(super) address: Option<Spanned<u32>>,
    pub(super) bit: Option<Spanned<u8>>,
    pub(super) level: Option<RawLevel>,
    pub(super) percent: Option<Spanned<u32>>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawTrouble {
    Open,
    StuckLow,
    StuckHigh,
    ShortedTo,
    Unsteady,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLineFault {
    pub(super) line: Spanned<String>,
    pub(super) kind: RawTrouble,
    pub(super) to: Option<Spanned<String>>,
    pub(super) pull: Option<RawPull>,
    pub(super) chance: Option<Spanned<f64>>,
    pub(super) from: Option<u32>,
    pub(super) words: Option<u32>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum RawPull {
    None,
    Low,
    High,
}

pub(super) fn parse(file: &str, text: &str) -> Result<RawBench, BenchError> {
    crate::notation::read(text).map_err(|error| {
        let line = error.span().map_or(0, |span| line_of(text, span.start));
        let what = error.message().lines().collect::<Vec<_>>().join(", ");
        BenchError::new(file, line, what, "correct that line")
    })
}

/// The line, from 1, of a byte offset.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count()
}
