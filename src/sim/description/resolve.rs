//! From keys to values: defaults, names, ranges.

use super::raw::{
    RawAdapter, RawBench, RawDataPath, RawFill, RawKind, RawLevel, RawLevels, RawLine,
    RawLineFault, RawMemory, RawOdds, RawPace, RawPull, RawRail, RawSupply, RawTrouble, line_of,
};
use super::{BenchDescription, BenchError, LineConfig, MemoryFill, Pace};
use crate::bus::{Baud, Levels, Millivolts, Nanos, Width, WordAddress};
use crate::sim::config::{AdapterConfig, RailModel};
use crate::sim::event::Event;
use crate::sim::faulty::{Line, LineFault, Trouble};
use crate::sim::mangler::FrameFaults;
use crate::sim::memory::{MemoryConfig, MemoryKind};
use crate::wire::{ControlLine, DataPath, Supply};
use std::ops::Range;
use toml::Spanned;

const FORMAT: u32 = 1;
/// The largest memory of a bench, in words: 64 MiB.
const WORDS_MAX: u32 = 1 << 24;
/// HELLO's reply must fit.
const TX_BODY_MIN: u16 = 512;

/// Makes errors that know file and line.
pub(super) struct Source<'a> {
    file: &'a str,
    text: &'a str,
}

impl Source<'_> {
    pub(super) fn error(
        &self,
        span: &Range<usize>,
        what: impl Into<String>,
        next: &str,
    ) -> BenchError {
        BenchError::new(self.file, line_of(self.text, span.start), what, next)
    }
}

pub(super) fn resolve(
    file: &str,
    text: &str,
    raw: RawBench,
) -> Result<BenchDescription, BenchError> {
    let source = Source { file, text };
    if *raw.format.get_ref() != FORMAT {
        let what = format!("format {} is not known", raw.format.get_ref());
        return Err(source.error(&raw.format.span(), what, "use format = 1"));
    }
    let at_cycles = at_cycles(&source, &raw)?;
    let (span, adapter) = match raw.adapter {
        Some(adapter) => (adapter.span(), adapter.into_inner()),
        None => (0..0, RawAdapter::default()),
    };
    let restarts_on_open = adapter.restarts_on_open.unwrap_or(false);
    // A name on the wire is short: of a sheet file only its own name goes in.
    let stem = raw.sheet.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = stem.strip_suffix(".toml").unwrap_or(stem);
    let board = raw.board.unwrap_or_else(|| format!("bench:{stem}"));
    let needs = Millivolts(raw.rail.module_needs_mv.unwrap_or(2700));
    let rail = resolve_rail(&source, &raw.rail)?;
    let mut config = resolve_adapter(&source, &span, adapter, &raw.line, board, rail)?;
    config.at_cycles = at_cycles;
    let memories = raw.memory.into_iter().map(|memory| resolve_memory(&source, memory, &config));
    let mut memories: Vec<_> = memories.collect::<Result<_, _>>()?;
    for fault in raw.chip_fault {
        super::chips::add_fault(&source, fault, &mut memories)?;
    }
    let line_faults = raw.line_fault.into_iter().map(|fault| resolve_fault(&source, fault));
    Ok(BenchDescription {
        file: file.to_owned(),
        sheet: raw.sheet,
        specimen: raw.specimen,
        restarts_on_open,
        line: resolve_line(&source, &raw.line)?,
        fault_seed: raw.faults.seed,
        request_faults: resolve_odds(&source, &raw.faults.request)?,
        reply_faults: resolve_odds(&source, &raw.faults.reply)?,
        memories,
        needs,
        line_faults: line_faults.collect::<Result<_, _>>()?,
        state: raw.state,
        adapter: config,
    })
}

fn millis(ms: u32) -> Nanos {
    Nanos::from_millis(u64::from(ms))
}

fn resolve_line(source: &Source, raw: &RawLine) -> Result<LineConfig, BenchError> {
    let pace = match raw.pace {
        RawPace::Real => Pace::Real,
        RawPace::Instant => Pace::Instant,
    };
    let packet = match &raw.packet {
        Some(packet) if *packet.get_ref() == 0 => {
            return Err(source.error(&packet.span(), "a packet of 0 bytes", "use at least 1"));
        }
        Some(packet) => *packet.get_ref(),
        None => 62,
    };
    let latency = millis(raw.latency_ms.unwrap_or(16));
    Ok(LineConfig { pace, packet, latency, delay: millis(raw.delay_ms.unwrap_or(0)) })
}

/// What happens right after a cycle of scripts.
fn at_cycles(source: &Source, raw: &RawBench) -> Result<Vec<(u32, Event)>, BenchError> {
    let rail = &raw.rail;
    if let (Some(one), None) = (&rail.sags_at_cycle, &rail.sag_mv) {
        return Err(source.error(&one.span(), "sags_at_cycle without sag_mv", "give both"));
    }
    let sag = Event::Sag(Millivolts(rail.sag_mv.as_ref().map_or(0, |mv| *mv.get_ref())));
    let restarts =
        raw.adapter.as_ref().and_then(|adapter| adapter.get_ref().restarts_at_cycle.as_ref());
    [
        (rail.sags_at_cycle.as_ref(), sag),
        (restarts, Event::Reset),
        (raw.line.breaks_at_cycle.as_ref(), Event::Unplug),
    ]
    .into_iter()
    .filter_map(|(cycle, event)| Some((cycle?, event)))
    .map(|(cycle, event)| match *cycle.get_ref() {
        0 => Err(source.error(&cycle.span(), "there is no cycle 0", "count from 1")),
        n => Ok((n, event)),
    })
    .collect()
}

fn resolve_rail(source: &Source, raw: &RawRail) -> Result<RailModel, BenchError> {
    let usual = RailModel::default();
    let sag = match (&raw.sags_after_ms, &raw.sag_mv) {
        (None, Some(_)) if raw.sags_at_cycle.is_some() => None,
        (Some(after), Some(mv)) => Some((millis(*after.get_ref()), Millivolts(*mv.get_ref()))),
        (None, None) => None,
        (Some(one), None) => {
            return Err(source.error(&one.span(), "sags_after_ms without sag_mv", "give both"));
        }
        (None, Some(one)) => {
            return Err(source.error(&one.span(), "sag_mv without sags_after_ms", "give both"));
        }
    };
    Ok(RailModel {
        rises: raw.rises.unwrap_or(usual.rises),
        rise: raw.rise_ms.map_or(usual.rise, millis),
        fall: raw.fall_ms.map_or(usual.fall, millis),
        reaches: raw.nominal_mv.map(Millivolts),
        sag,
        feeds_back: raw.feeds_back.unwrap_or(false),
    })
}

fn resolve_adapter(
    source: &Source,
    span: &Range<usize>,
    raw: RawAdapter,
    line: &RawLine,
    board: String,
    rail: RailModel,
) -> Result<AdapterConfig, BenchError> {
    let mut config = AdapterConfig { board, rail, ..AdapterConfig::default() };
    let fastest = line.fastest.unwrap_or(1_000_000);
    if let Some(rates) = raw.rates {
        config.rates = rates.into_iter().map(Baud).collect();
    } else {
        config.rates.push(Baud(2_000_000));
    }
    set(&mut config.major, raw.protocol_major);
    set(&mut config.firmware, raw.firmware);
    set(&mut config.clock_hz, raw.clock_hz);
    set(&mut config.reset_rate, raw.reset_rate.map(Baud));
    let reset = config.reset_rate;
    config.rates.retain(|rate| rate.0 <= fastest || *rate == reset);
    if reset.0 == 0 {
        config.rates.clear();
    } else if !config.rates.contains(&reset) {
        config.rates.insert(0, reset);
    }
    set(&mut config.data_lines, raw.data_lines);
    set(&mut config.address_lines, raw.address_lines);
    set(&mut config.io_high, raw.io_high_mv.map(Millivolts));
    set(&mut config.io_measured, raw.io_measured);
    set(&mut config.input_max, raw.input_max_mv.map(Millivolts));
    set(&mut config.rails, raw.rails_mv.map(|rails| rails.into_iter().map(Millivolts).collect()));
    set(&mut config.limit_ma, raw.limit_ma);
    set(&mut config.sensed, raw.sensed);
    set(&mut config.write_locked, raw.write_locked);
    set(&mut config.sizes.shape_slots, raw.shape_slots);
    set(&mut config.sizes.rx_body_max, raw.rx_body_max);
    set(&mut config.sizes.rx_queue_bytes, raw.rx_queue_bytes);
    set(&mut config.sizes.tx_body_max, raw.tx_body_max);
    set(&mut config.boot_time, raw.boot_ms.map(millis));
    set(
        &mut config.control,
        raw.control.map(|lines| {
            let line = |l: super::raw::RawControl| ControlLine {
                name: l.name,
                write_strobe: l.write_strobe,
                pulled_down: l.pulled_down,
            };
            lines.into_iter().map(line).collect()
        }),
    );
    set(
        &mut config.data_path,
        raw.data_path.map(|path| match path {
            RawDataPath::Direct => DataPath::Direct,
            RawDataPath::Directed => DataPath::Directed,
            RawDataPath::AutoDirection => DataPath::AutoDirection,
        }),
    );
    set(
        &mut config.supply,
        raw.supply.map(|supply| match supply {
            RawSupply::Usb => Supply::Usb,
            RawSupply::Own => Supply::Own,
        }),
    );
    let wrong = [
        (!(1..=32).contains(&config.data_lines), "data_lines is not 1 to 32"),
        (!(1..=32).contains(&config.address_lines), "address_lines is not 1 to 32"),
        (config.control.len() > 16, "there are more than 16 control lines"),
        (config.rates.len() > 24, "there are more than 24 rates"),
        (config.rails.is_empty() || config.rails.len() > 8, "rails_mv does not list 1 to 8 rails"),
        (config.clock_hz < 100_000, "clock_hz is below 100,000"),
        (config.sizes.rx_body_max < 64, "rx_body_max is below 64"),
        (config.sizes.tx_body_max < TX_BODY_MIN, "tx_body_max is below 512"),
        (config.sizes.rx_queue_bytes < 64, "rx_queue_bytes is below 64"),
    ];
    match wrong.into_iter().find(|(wrong, _)| *wrong) {
        Some((_, what)) => Err(source.error(span, what, "correct [adapter]")),
        None => Ok(config),
    }
}

fn set<T>(place: &mut T, value: Option<T>) {
    if let Some(value) = value {
        *place = value;
    }
}

fn chance(source: &Source, raw: Option<&Spanned<f64>>) -> Result<f64, BenchError> {
    let Some(raw) = raw else { return Ok(0.0) };
    let value = *raw.get_ref();
    if (0.0..=1.0).contains(&value) {
        Ok(value)
    } else {
        let what = format!("{value} is no share of 0 to 1");
        Err(source.error(&raw.span(), what, "give a number from 0 to 1"))
    }
}

fn resolve_odds(source: &Source, raw: &RawOdds) -> Result<FrameFaults, BenchError> {
    Ok(FrameFaults {
        drop: chance(source, raw.drop.as_ref())?,
        flip: chance(source, raw.flip.as_ref())?,
        double: chance(source, raw.double.as_ref())?,
        lost_delimiter: chance(source, raw.lost_delimiter.as_ref())?,
    })
}

fn resolve_memory(
    source: &Source,
    raw: Spanned<RawMemory>,
    config: &AdapterConfig,
) -> Result<(MemoryConfig, MemoryFill), BenchError> {
    let span = raw.span();
    let raw = raw.into_inner();
    let Some(width) = Width::from_bits(*raw.width.get_ref()) else {
        return Err(source.error(&raw.width.span(), "width is not 8, 16 or 32", "use one of them"));
    };
    let words = *raw.words.get_ref();
    if words == 0 || words > WORDS_MAX || raw.base.checked_add(words).is_none() {
        let what = format!("{words} words at 0x{:X} are not possible", raw.base);
        return Err(source.error(&raw.words.span(), what, "use 1 to 0x1000000 words"));
    }
    if u32::from(raw.first_line) + width.bits() > u32::from(config.data_lines) {
        let what = format!("'{}' needs more data lines than the adapter has", raw.name);
        return Err(source.error(&span, what, "correct first_line or width"));
    }
    let kind = match raw.kind {
        RawKind::Flash => MemoryKind::Flash,
        RawKind::Ram => MemoryKind::Ram { battery: raw.battery.unwrap_or(true) },
        RawKind::Rom => MemoryKind::Rom,
    };
    let fill = match (raw.fill, raw.file) {
        (RawFill::Generated, None) => MemoryFill::Generated,
        (RawFill::Blank, None) => MemoryFill::Blank,
        (RawFill::File, Some(name)) => MemoryFill::File(name),
        (RawFill::File, None) => {
            return Err(source.error(&span, "fill = \"file\" without file", "name the file"));
        }
        (_, Some(_)) => {
            return Err(source.error(&span, "file without fill = \"file\"", "give both"));
        }
    };
    let chips = super::chips::resolve(source, raw.chip.as_ref(), raw.chips.as_ref(), width)?;
    if let Some((span, chips)) = &chips {
        super::chips::check(source, span, chips, (raw.base, words), (width, kind))?;
    }
    let select = levels(source, &raw.select, config)?;
    let strobe = |given: Option<&Spanned<RawLevels>>, usual: &str| match given {
        Some(given) => levels(source, given, config),
        None => usual_strobe(source, &raw.select.span(), usual, config),
    };
    let read = select.then(strobe(raw.read.as_ref(), "OE")?);
    let write = select.then(strobe(raw.write.as_ref(), "WE")?);
    let memory = MemoryConfig {
        name: raw.name,
        kind,
        width,
        first_line: raw.first_line,
        base: WordAddress(raw.base),
        words,
        read,
        write,
        access: Nanos(u64::from(raw.access_ns.unwrap_or(150))),
        chips: chips.map_or_else(Vec::new, |(_, chips)| chips),
        held: millis(raw.held_ms.unwrap_or(0)),
    };
    Ok((memory, fill))
}

fn line_number(config: &AdapterConfig, name: &str) -> Option<u32> {
    config.control.iter().position(|line| line.name == name).map(|n| n as u32)
}

fn levels(
    source: &Source,
    raw: &Spanned<RawLevels>,
    config: &AdapterConfig,
) -> Result<Levels, BenchError> {
    let mut out = Levels::default();
    for (name, level) in raw.get_ref() {
        let Some(line) = line_number(config, name) else {
            let what = format!("the adapter has no control line '{name}'");
            return Err(source.error(&raw.span(), what, "use a name of [adapter] control"));
        };
        let high = matches!(level, RawLevel::High);
        out = out.then(Levels { mask: 1 << line, level: u16::from(high) << line });
    }
    Ok(out)
}

fn usual_strobe(
    source: &Source,
    span: &Range<usize>,
    name: &str,
    config: &AdapterConfig,
) -> Result<Levels, BenchError> {
    let line = line_number(config, name).ok_or_else(|| {
        let what = format!("the adapter has no control line '{name}'");
        source.error(span, what, "say with read and write how the memory is strobed")
    })?;
    Ok(Levels { mask: 1 << line, level: 0 })
}

fn line_named(source: &Source, raw: &Spanned<String>) -> Result<Line, BenchError> {
    Line::parse(raw.get_ref()).ok_or_else(|| {
        let what = format!("'{}' is no data or address line", raw.get_ref());
        source.error(&raw.span(), what, "use D0 to D31 or A0 to A31")
    })
}

fn resolve_fault(source: &Source, raw: Spanned<RawLineFault>) -> Result<LineFault, BenchError> {
    let span = raw.span();
    let raw = raw.into_inner();
    let line = line_named(source, &raw.line)?;
    let trouble = match raw.kind {
        RawTrouble::Open => Trouble::Open {
            pull: match raw.pull {
                None | Some(RawPull::None) => None,
                Some(RawPull::Low) => Some(false),
                Some(RawPull::High) => Some(true),
            },
        },
        RawTrouble::StuckLow => Trouble::StuckLow,
        RawTrouble::StuckHigh => Trouble::StuckHigh,
        RawTrouble::ShortedTo => {
            let Some(to) = &raw.to else {
                return Err(source.error(&span, "a short without 'to'", "name the other line"));
            };
            let other = line_named(source, to)?;
            if std::mem::discriminant(&other) != std::mem::discriminant(&line) || other == line {
                let what = format!("{line} cannot be shorted to {other}");
                return Err(source.error(&to.span(), what, "use another line of its kind"));
            }
            Trouble::ShortedTo(other)
        }
        RawTrouble::Unsteady => {
            if raw.chance.is_none() {
                return Err(source.error(&span, "an unsteady line without 'chance'", "give it"));
            }
            let within = raw.from.map(|from| from..from.saturating_add(raw.words.unwrap_or(1)));
            Trouble::Unsteady { chance: chance(source, raw.chance.as_ref())?, within }
        }
    };
    Ok(LineFault { line, trouble })
}
