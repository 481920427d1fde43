//! What chips can do when they are changed, and how long it takes.

use super::WhyNot;
use crate::bus::{Nanos, Width};
use crate::chips::cfi::{IntelTable, Primary, Time};
use crate::chips::parts::Part;
use crate::chips::{Catalogue, Cfi, Family, Finding, Identity, Way, Wiring};
use serde::{Deserialize, Serialize};

/// The count of a write buffer has eight bits (datasheet S29GL-A p46; parts with longer buffers
/// take shorter loads, from memory).
const MOST_BUFFER: u32 = 256;
/// No word, page or buffer is given longer, whatever a table says: none is known that needs so long
/// (from memory), and a run of a thousand words must fit into ten minutes.
const LONGEST_PROGRAM_US: u32 = 100_000;
/// Typical times where nothing tells them: Am29LV040B p31, SST39SF S71147, AT29C features, J3
/// query table.
const TYPICAL_PROGRAM_US: [(Family, u32); 4] =
    [(Family::Amd, 9), (Family::Jedec, 14), (Family::Page, 10_000), (Family::Intel, 128)];
const TYPICAL_ERASE_MS: [(Family, u32); 4] =
    [(Family::Amd, 700), (Family::Jedec, 18), (Family::Page, 10), (Family::Intel, 1024)];

/// How the lock bits of sectors behave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LockKind {
    /// No command that is ever sent here changes them.
    Fixed,
    /// Each sector by itself.
    Each {
        /// All are locked again when the rail comes on.
        relocks: bool,
    },
    /// The command to clear clears those of all sectors.
    ClearsAll,
}

/// What the chips of a group have in common, and the times of the slowest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Abilities {
    /// They have the unlock bypass.
    pub bypass: bool,
    /// Words of the bus that a write buffer takes, a power of two.
    pub buffer_words: Option<u32>,
    /// Words of the bus in a page, of page-write parts.
    pub page_words: Option<u32>,
    /// How their locks behave.
    pub locks: LockKind,
    /// Typical and longest time of a word or page, in microseconds.
    pub program_us: (u32, u32),
    /// The same of a write buffer.
    pub buffer_us: (u32, u32),
    /// The same of an erase of one sector, in milliseconds; the longest with a margin.
    pub erase_ms: (u32, u32),
    /// The longest time of an erase of the whole chip, with a margin.
    pub chip_ms: u32,
}

impl Abilities {
    /// What all `chips` have in common, of which `findings` tell one by one, for commands that
    /// are sent `way`. The error says why they cannot be changed here.
    pub fn of(
        findings: &[Finding],
        catalogue: &Catalogue,
        chips: &[Wiring],
        way: Way,
    ) -> Result<Self, WhyNot> {
        let (Some(first), true) = (chips.first(), chips.len() == findings.len()) else {
            return Err(WhyNot::NoChips { chips: chips.len(), findings: findings.len() });
        };
        if way.family != Family::Intel && way.unlock.addresses(way.mode).is_none() {
            return Err(WhyNot::UnlockUnsure);
        }
        let mut all: Option<(Self, _)> = None;
        for (chip, (finding, wiring)) in findings.iter().zip(chips).enumerate() {
            let differ = |what| Err(WhyNot::ChipsDiffer { chip, what });
            let lane = wiring.lane();
            if !matches!(lane.bits, 8 | 16) || lane.first % lane.bits != 0 {
                return Err(WhyNot::Lane { chip });
            }
            if lane.bits != first.lane().bits {
                return differ("their number of data lines");
            }
            if !wiring.same_address_lines(first) {
                return differ("the order of their address lines");
            }
            let (own, geometry) = Self::of_one(chip, finding, catalogue, wiring, way)?;
            all = Some(match all {
                None => (own, geometry),
                Some((_, other)) if other != geometry => return differ("their sectors"),
                Some((other, _)) if other.locks != own.locks => return differ("their locks"),
                Some((other, _)) if other.page_words != own.page_words => {
                    return differ("their pages");
                }
                Some((other, geometry)) => (other.with(own), geometry),
            });
        }
        let (all, _) = all.ok_or(WhyNot::NoChips { chips: 0, findings: 0 })?;
        all.through(first, way)
    }

    fn of_one(
        chip: usize,
        finding: &Finding,
        catalogue: &Catalogue,
        wiring: &Wiring,
        way: Way,
    ) -> Result<(Self, Option<crate::chips::Geometry>), WhyNot> {
        let bits = wiring.lane().bits;
        let width = Width::from_bits(bits.into()).ok_or(WhyNot::Lane { chip })?;
        let identity = finding.identity(catalogue, width);
        let parts = identity.as_ref().map(Identity::parts).unwrap_or_default();
        let cfi = match &finding.cfi {
            Some(Err(error)) => return Err(WhyNot::Table { chip, why: error.to_string() }),
            Some(Ok(cfi)) => Some(cfi),
            None => None,
        };
        for part in parts {
            if let Some(vpp) = part.vpp {
                return Err(WhyNot::HighVoltage { chip, part: part.name.clone(), mv: vpp.0 });
            }
        }
        let own = finding.settled_way(identity.as_ref()).ok_or(WhyNot::NoCommands { chip })?;
        if own != way {
            let said = |way: Way| format!("{} commands, {way}", way.family);
            return Err(WhyNot::OtherWay { chip, own: said(own), given: said(way) });
        }
        let geometry = finding.geometry(identity.as_ref());
        let page_words = match way.family {
            Family::Page => Some(page_words(parts, bits).ok_or(WhyNot::NoPage { chip })?),
            _ => None,
        };
        let sectors = geometry.as_ref().map_or(0, crate::chips::Geometry::sectors);
        let times = Times::of(way.family, cfi, parts, sectors);
        let buffer = cfi.and_then(|cfi| cfi.write_buffer).filter(|_| page_words.is_none());
        let buffer_words = buffer
            .map(|bytes| (bytes / u32::from(bits / 8)).min(MOST_BUFFER))
            .filter(|words| *words > 1 && words.is_power_of_two());
        let abilities = Self {
            bypass: way.family == Family::Amd
                && !parts.is_empty()
                && parts.iter().all(|part| part.bypass),
            buffer_words,
            page_words,
            locks: locks(way.family, cfi),
            program_us: times.program_us,
            buffer_us: times.buffer_us,
            erase_ms: times.erase_ms,
            chip_ms: times.chip_ms,
        };
        Ok((abilities, geometry))
    }

    /// What both have, as slow as the slower.
    fn with(self, other: Self) -> Self {
        let slower = |a: (u32, u32), b: (u32, u32)| (a.0.max(b.0), a.1.max(b.1));
        let both = self.buffer_words.zip(other.buffer_words);
        Self {
            bypass: self.bypass && other.bypass,
            buffer_words: both.map(|(one, two)| one.min(two)),
            program_us: slower(self.program_us, other.program_us),
            buffer_us: slower(self.buffer_us, other.buffer_us),
            erase_ms: slower(self.erase_ms, other.erase_ms),
            chip_ms: self.chip_ms.max(other.chip_ms),
            ..self
        }
    }

    /// What is left of it behind these address lines.
    fn through(self, wiring: &Wiring, way: Way) -> Result<Self, WhyNot> {
        if way.family == Family::Page
            && !self.page_words.is_some_and(|words| super::sectors::unbroken(wiring, words))
        {
            return Err(WhyNot::PageScrambled);
        }
        let whole = |words: &u32| super::sectors::unbroken(wiring, *words);
        Ok(Self { buffer_words: self.buffer_words.filter(whole), ..self })
    }
}

fn page_words(parts: &[&Part], bits: u8) -> Option<u32> {
    let (first, rest) = parts.split_first()?;
    let page = first.page.filter(|page| rest.iter().all(|part| part.page == Some(*page)))?;
    Some(page / u32::from(bits / 8)).filter(|words| words.is_power_of_two())
}

/// Feature bits 3 and 5 of an Intel table; other families have no locks that a command changes
/// without a high voltage or for good.
fn locks(family: Family, cfi: Option<&Cfi>) -> LockKind {
    let Some(Primary::Intel(table)) = cfi.map(|cfi| &cfi.primary) else { return LockKind::Fixed };
    match family {
        Family::Intel if table.has(IntelTable::INSTANT_LOCK) => LockKind::Each { relocks: true },
        Family::Intel if table.has(IntelTable::LEGACY_LOCK) => LockKind::ClearsAll,
        _ => LockKind::Fixed,
    }
}

struct Times {
    program_us: (u32, u32),
    buffer_us: (u32, u32),
    erase_ms: (u32, u32),
    chip_ms: u32,
}

impl Times {
    /// Times of the query table, else of the part list, else of the family.
    fn of(family: Family, cfi: Option<&Cfi>, parts: &[&Part], sectors: u64) -> Self {
        let limits = family.limits();
        let listed = |time: fn(&crate::chips::cfi::Times) -> Option<Time>| {
            let listed: Vec<_> = parts.iter().filter_map(|part| time(&part.times)).collect();
            let all = listed.len() == parts.len();
            let slowest = listed.into_iter().max_by_key(|time| time.most);
            cfi.and_then(|cfi| time(&cfi.times)).or(slowest.filter(|_| all))
        };
        let usual = |table: [(Family, u32); 4]| {
            table.into_iter().find(|(of, _)| *of == family).map_or(0, |(_, typical)| typical)
        };
        let pair = |time: Option<Time>, typical: u32, longest: Nanos, unit: u64| {
            let count = |time: Nanos| u32::try_from(time.0.div_ceil(unit)).unwrap_or(u32::MAX);
            let typical = time.map_or(typical, |time| count(time.typical));
            let longest = count(time.and_then(|time| time.most).unwrap_or(longest));
            (typical, longest.max(typical.saturating_mul(2)))
        };
        let word =
            pair(listed(|times| times.word), usual(TYPICAL_PROGRAM_US), limits.program, 1_000);
        let sector = limits.sector_erase.unwrap_or(limits.program);
        let erase = pair(listed(|times| times.sector), usual(TYPICAL_ERASE_MS), sector, 1_000_000);
        // A table may allow a sector more than the longest run of an adapter.
        let erase_ms = (erase.0, with_margin(erase.1).min(super::erase::LONGEST_WAIT_MS));
        let all = u32::try_from(sectors.max(1)).unwrap_or(u32::MAX).saturating_mul(erase_ms.1);
        let chip = listed(|times| times.chip).and_then(|time| time.most).or(limits.chip_erase);
        let chip = chip.map_or(all, |most| {
            with_margin(u32::try_from(most.0.div_ceil(1_000_000)).unwrap_or(u32::MAX))
        });
        let buffer = pair(listed(|times| times.buffer), word.0, limits.program * 16, 1_000);
        let bounded = |(typical, longest): (u32, u32)| (typical, longest.min(LONGEST_PROGRAM_US));
        Self {
            program_us: bounded(word),
            buffer_us: bounded(buffer),
            erase_ms,
            chip_ms: chip.min(super::erase::LONGEST_WAIT_MS),
        }
    }
}

/// A quarter more than the longest time that is printed, so that a chip which gives up just then
/// still says so itself.
pub(super) fn with_margin(longest: u32) -> u32 {
    longest.saturating_add(longest.div_ceil(4))
}
