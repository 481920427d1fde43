//! Chips of a memory in a bench file, and what is wrong with them.

use super::raw::{RawChipFault, RawChipTrouble, RawLevel, RawWear};
use super::resolve::Source;
use super::{BenchError, MemoryFill};
use crate::bus::Width;
use crate::sim::chips::{ChipConfig, ChipFaults, ChipPace, ChipType, StuckBit, Wear};
use crate::sim::memory::{MemoryConfig, MemoryKind};
use std::ops::Range;
use toml::Spanned;

type Named = Option<(Range<usize>, Vec<ChipConfig>)>;

/// The chips that `chip` or `chips` names.
pub(super) fn resolve(
    source: &Source,
    chip: Option<&Spanned<String>>,
    chips: Option<&Spanned<Vec<String>>>,
    width: Width,
) -> Result<Named, BenchError> {
    let kind = |span: &Range<usize>, name: &str| {
        ChipType::builtin(name).ok_or_else(|| {
            let known: Vec<String> = ChipType::builtin_names().collect();
            let what = format!("there is no chip type '{name}'");
            source.error(span, what, &format!("use one of {}", known.join(", ")))
        })
    };
    let config = |kind| ChipConfig { kind, faults: ChipFaults::default() };
    match (chip, chips) {
        (None, None) => Ok(None),
        (Some(name), None) => {
            let kind = kind(&name.span(), name.get_ref())?;
            let lines = kind.widths.iter().map(|lines| u32::from(*lines));
            let fits = lines.filter(|lines| width.bits().is_multiple_of(*lines)).max().unwrap_or(8);
            let count = (width.bits() / fits) as usize;
            Ok(Some((name.span(), vec![config(kind); count])))
        }
        (None, Some(names)) => {
            let span = names.span();
            let kinds = names.get_ref().iter().map(|name| kind(&span, name));
            let kinds: Vec<ChipType> = kinds.collect::<Result<_, _>>()?;
            Ok(Some((span, kinds.into_iter().map(config).collect())))
        }
        (Some(_), Some(names)) => {
            Err(source.error(&names.span(), "both chip and chips are given", "give one of them"))
        }
    }
}

/// That the chips fill the memory.
pub(super) fn check(
    source: &Source,
    span: &Range<usize>,
    chips: &[ChipConfig],
    (base, words): (u32, u32),
    (width, kind): (Width, MemoryKind),
) -> Result<(), BenchError> {
    let error = |what: String, next: &str| Err(source.error(span, what, next));
    if kind != MemoryKind::Flash {
        return error("chips of a memory that is no flash".into(), "use kind = \"flash\"");
    }
    let lines = width.bits() / chips.len().max(1) as u32;
    if !matches!(chips.len(), 1 | 2 | 4) || !matches!(lines, 8 | 16) {
        let what = format!("{} chips do not share {} data lines", chips.len(), width.bits());
        return error(what, "use 1, 2 or 4 chips of 8 or 16 lines each");
    }
    for chip in chips {
        let name = &chip.kind.name;
        if !chip.kind.widths.iter().any(|width| u32::from(*width) == lines) {
            let what = format!("{name} has no {lines} data lines");
            return error(what, "use another chip, or another number of chips");
        }
        let has = chip.kind.words(lines as u8);
        if has != words {
            let what =
                format!("{name} has 0x{has:X} words of {lines} bits, the memory 0x{words:X}");
            return error(what, "let them be equal");
        }
    }
    if base % words != 0 {
        let what = format!("0x{base:X} is no multiple of the chips' 0x{words:X} words");
        return error(what, "correct base: a chip sees only its own address lines");
    }
    Ok(())
}

/// Adds one fault to the chips that it names.
pub(super) fn add_fault(
    source: &Source,
    raw: Spanned<RawChipFault>,
    memories: &mut [(MemoryConfig, MemoryFill)],
) -> Result<(), BenchError> {
    let span = raw.span();
    let raw = raw.into_inner();
    let name = raw.memory.get_ref();
    let memory = memories.iter_mut().map(|(memory, _)| memory).find(|m| m.name == *name);
    let Some(memory) = memory.filter(|memory| !memory.chips.is_empty()) else {
        let what = format!("'{name}' is no memory with chips");
        return Err(source.error(&raw.memory.span(), what, "name a memory that has chips"));
    };
    let count = memory.chips.len();
    let lines = memory.width.bits() / count as u32;
    let chosen = match &raw.chip {
        None => 0..count,
        Some(chip) if *chip.get_ref() < count => *chip.get_ref()..*chip.get_ref() + 1,
        Some(chip) => {
            let what = format!("'{name}' has no chip {}", chip.get_ref());
            return Err(source.error(&chip.span(), what, "count from 0 at the lowest data lines"));
        }
    };
    for chip in &mut memory.chips[chosen] {
        let sectors = chip.kind.sector_ranges(lines as u8).len();
        let words = chip.kind.words(lines as u8);
        apply(source, &span, &raw, &mut chip.faults, (sectors, words, lines))?;
    }
    Ok(())
}

fn apply(
    source: &Source,
    span: &Range<usize>,
    raw: &RawChipFault,
    faults: &mut ChipFaults,
    (sectors, words, lines): (usize, u32, u32),
) -> Result<(), BenchError> {
    let missing = |key: &str| source.error(span, format!("it lacks '{key}'"), "give it");
    let listed = || {
        let list = raw.sectors.as_ref().ok_or_else(|| missing("sectors"))?;
        match list.get_ref().iter().find(|sector| **sector >= sectors) {
            Some(sector) => {
                let what = format!("sector {sector} of {sectors}");
                Err(source.error(&list.span(), what, "count from 0"))
            }
            None => Ok(list.get_ref().clone()),
        }
    };
    let word = || {
        let at = raw.address.as_ref().ok_or_else(|| missing("address"))?;
        if *at.get_ref() >= words {
            return Err(source.error(&at.span(), "it is beyond the chip", "count its words"));
        }
        Ok(*at.get_ref())
    };
    match raw.kind {
        RawChipTrouble::WornSector => {
            let wear = match raw.ends {
                RawWear::Reported => Wear::Reported,
                RawWear::Never => Wear::Never,
            };
            faults.worn.extend(listed()?.into_iter().map(|sector| (sector, wear)));
        }
        RawChipTrouble::Locked => faults.locked.extend(listed()?),
        RawChipTrouble::BufferAbort => faults.aborts_at.push(word()?),
        RawChipTrouble::StuckBit => {
            let at = word()?;
            let bit = raw.bit.as_ref().ok_or_else(|| missing("bit"))?;
            let high = matches!(raw.level.ok_or_else(|| missing("level"))?, RawLevel::High);
            if u32::from(*bit.get_ref()) >= lines {
                return Err(source.error(&bit.span(), "the chip has no such bit", "count from 0"));
            }
            faults.stuck.push(StuckBit { at, bit: *bit.get_ref(), high });
        }
        RawChipTrouble::Slow => faults.pace = ChipPace::NearLongest,
        RawChipTrouble::Pace => {
            let percent = raw.percent.as_ref().ok_or_else(|| missing("percent"))?;
            if !(1..=10_000).contains(percent.get_ref()) {
                let what = format!("{} % is not possible", percent.get_ref());
                return Err(source.error(&percent.span(), what, "use 1 to 10000"));
            }
            faults.pace = ChipPace::Percent(*percent.get_ref());
        }
        RawChipTrouble::VppLow => faults.vpp_low = true,
        RawChipTrouble::Nonsense => faults.nonsense = true,
        RawChipTrouble::OnesLookGood => faults.ones_look_good = true,
    }
    Ok(())
}
