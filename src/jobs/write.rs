//! Write: a stored plan, and no other, onto the module it was made for.
//!
//! Nothing is changed before the chips, the plan and the backup say the same of every sector. A
//! line of the journal stands on the disk before each step. At the end the module has been without
//! supply, and every checksum is as planned.

mod bank;
mod locks;
mod proof;
mod report;
mod sector;

pub use report::{FailedSector, WriteReport};

use super::identify::{IdentifyRequest, Keep, Twin, identify};
use super::runs::Runs;
use super::{Desk, Ending, Event, JobError, Powered, VerifyPart, power_cycle};
use crate::bus::WordAddress;
use crate::chips::Catalogue;
use crate::image::RESUME;
use crate::module::{Sheet, SpaceAccess};
use crate::shelf::{
    Action, Block, Journal, LockedSectors, Part, PlannedSector, ShelfError, Stage, Step,
    StoredPlan, Told, cut_blocks,
};
use crate::wire::{HelloReply, RailReply};
use bank::Bank;
use jiff::Timestamp;
use std::ops::RangeInclusive;

/// What the pass does that stands before everything else.
pub const CHECKS_BEFORE: &str = "checksums before writing";
/// What the pass does that changes the module.
pub const WRITES: &str = "writing";
/// What the last pass does.
pub const CHECKS_AFTER: &str = "checksums after the power cycle";

/// What a write works with.
pub struct WriteRequest<'a> {
    /// The plan.
    pub(crate) plan: &'a StoredPlan,
    /// What the backup says of every space, without words that are never touched or change by
    /// themselves.
    pub(crate) backup: Vec<VerifyPart>,
    /// Captures that each space may equal, in sheet order.
    pub(crate) twins: Vec<Vec<Twin>>,
    /// The part list.
    pub(crate) catalogue: &'a Catalogue,
    /// It is the simulated bench's.
    pub(crate) simulated: bool,
    /// What the last write of this module left unlocked, if it was interrupted.
    pub(crate) still_unlocked: Vec<LockedSectors>,
}

/// What else a write needs done on the shelf.
pub(crate) trait Desktop: Keep {
    /// Captures RAM space `index`, which is no longer as in the backup; its id and what it says.
    async fn keep_ram(
        &mut self,
        powered: &Powered,
        index: usize,
    ) -> Result<(String, Vec<VerifyPart>), JobError>;

    /// Begins the journal.
    fn begin(&mut self, locked: Vec<LockedSectors>) -> Result<Journal, ShelfError>;
}

/// The module and the way to it.
pub(crate) struct Place<'a, 'd> {
    pub(crate) desk: &'a Desk<'d>,
    pub(crate) sheet: &'a Sheet,
    pub(crate) hello: &'a HelloReply,
    pub(crate) access: &'a [SpaceAccess],
}

/// Writes the plan; `journal` is that of an interrupted write that is gone on with.
pub(crate) async fn write(
    place: &Place<'_, '_>,
    powered: &Powered,
    request: &WriteRequest<'_>,
    journal: Option<Journal>,
    desktop: &mut impl Desktop,
) -> Result<(WriteReport, Ending), JobError> {
    let desk = place.desk;
    let begun = desk.client.now();
    let told = journal.as_ref().map(|journal| journal.told().clone());
    let doubt = in_doubt(place.sheet, request.plan, told.as_ref());
    let twins = request.twins.clone();
    let found = look(place, powered, request, (twins, doubt), desktop).await?;
    let banks = bank::banks(place.sheet, powered, &found, request)?;
    desk.note("every sector is compared with the plan and the backup before anything is changed");
    proof::before(place, powered, &banks, told.as_ref()).await?;
    let elsewhere = proof::elsewhere(place, powered, request, &banks, desktop).await?;
    let locked = locks::locked(&banks, &request.still_unlocked);
    let mut journal = match journal {
        Some(mut journal) => {
            journal.add(Step::Resumed { time: Timestamp::now() })?;
            journal
        }
        None => desktop.begin(locked)?,
    };
    let mut report = WriteReport::new(request.plan, told.is_some());
    report.ram = elsewhere.captured.clone();
    let mut runs = Runs::new(desk, place.hello.sizes);
    let work = Work { place, powered, banks: &banks };
    let failed = work.sectors(&mut runs, &mut journal, &mut report).await?;
    report.count_all(request.plan, &journal);
    locks::restore(place, &mut runs, &banks, &mut journal).await?;
    if failed {
        report.seconds = seconds(place, begun);
        return Ok((report, Ending::No));
    }
    let (powered, off) = power_cycle(desk, place.sheet, place.access.to_vec()).await?;
    journal.add(Step::RailCycled { mv: off.mv.0, measured: off.measured })?;
    report.rail = said_of(off);
    let twins = targets(place.sheet, request);
    let found = look(place, &powered, request, (twins, Vec::new()), desktop).await?;
    bank::same_chips(request.plan, &found)?;
    desk.note("every sector is compared with the plan after the power cycle");
    report.wrong = proof::after(place, &powered, &banks).await?;
    report.changed = proof::still(place, &powered, &elsewhere).await?;
    let good = report.wrong.is_empty() && report.changed.is_empty();
    if good {
        journal.add(Step::Proven)?;
    }
    report.proven = good;
    report.seconds = seconds(place, begun);
    journal.add(Step::End { time: Timestamp::now(), good })?;
    Ok((report, if good { Ending::Good } else { Ending::No }))
}

fn seconds(place: &Place<'_, '_>, begun: crate::bus::Nanos) -> f64 {
    place.desk.client.now().since(begun).as_millis() as f64 / 1_000.0
}

async fn look(
    place: &Place<'_, '_>,
    powered: &Powered,
    request: &WriteRequest<'_>,
    (twins, in_doubt): (Vec<Vec<Twin>>, InDoubt),
    keeper: &mut impl Keep,
) -> Result<super::IdentifyReport, JobError> {
    let specimen = Some(request.plan.plan.specimen.to_string());
    let ask =
        IdentifyRequest { specimen, simulated: request.simulated, probe: None, twins, in_doubt };
    let (desk, sheet, hello) = (place.desk, place.sheet, place.hello);
    let (report, _) = identify(desk, sheet, hello, powered, request.catalogue, ask, keeper).await?;
    Ok(report)
}

/// Words of which nobody knows what they hold, by space.
type InDoubt = Vec<(usize, RangeInclusive<WordAddress>)>;

/// Those of sectors that an interruption, now or before the plan was made, has left.
fn in_doubt(sheet: &Sheet, plan: &StoredPlan, told: Option<&Told>) -> InDoubt {
    let mut found = Vec::new();
    for (space, sector) in plan.plan.sectors() {
        let stage = told.map_or(Stage::Waiting, |told| told.stage(&space.name, sector.number));
        let unsure = match stage {
            Stage::Waiting => sector.in_doubt,
            stage => stage != Stage::Written,
        };
        if let (true, Some((index, _))) = (unsure, sheet.space(&space.name)) {
            let first = space.base.plus(sector.first.0);
            found.push((index, first..=first.plus(sector.words.saturating_sub(1))));
        }
    }
    found
}

/// What each space should hold after the write, for chips that are asked only beside a copy.
fn targets(sheet: &Sheet, request: &WriteRequest<'_>) -> Vec<Vec<Twin>> {
    let mut twins = request.twins.clone();
    for space in &request.plan.plan.spaces {
        let Some((index, of)) = sheet.space(&space.name) else { continue };
        let content = request.plan.target_of(space);
        let sums = cut_blocks(&[super::whole(of)]).into_iter().map(|block| {
            let from = block.offset as usize;
            crate::bus::crc32(content.get(from..from + block.bytes as usize).unwrap_or_default())
        });
        // Only chips that are asked beside a copy have one to compare with.
        if twins[index].is_empty() {
            continue;
        }
        let name = format!("plan {}", request.plan.code);
        twins[index] = vec![Twin { name, agreed: true, crc32: sums.collect() }];
    }
    twins
}

fn said_of(off: RailReply) -> String {
    if off.measured {
        format!("the rail was off in between, measured at {}", off.mv)
    } else {
        "the rail was switched off in between; this board does not measure it, so the module may \
         not have been without supply: take it out and in once, and verify"
            .to_owned()
    }
}

/// The sectors of a plan at work.
struct Work<'a, 'd> {
    place: &'a Place<'a, 'd>,
    powered: &'a Powered,
    banks: &'a [Bank<'a>],
}

impl Work<'_, '_> {
    /// Every sector in turn; true if one failed, after which nothing more is changed.
    async fn sectors(
        &self,
        runs: &mut Runs<'_, '_>,
        journal: &mut Journal,
        report: &mut WriteReport,
    ) -> Result<bool, JobError> {
        let desk = self.place.desk;
        for bank in self.banks {
            let todo: Vec<_> = bank.todo(journal.told()).collect();
            if todo.is_empty() {
                continue;
            }
            let changes =
                |sector: &&PlannedSector| matches!(sector.action, Action::Program | Action::Erase);
            let all = bank.planned.sectors.iter().filter(changes).count();
            let before = all - todo.len();
            let bytes = todo.iter().map(|(sector, _)| bank.bytes(sector)).sum();
            let space = bank.planned.name.clone();
            desk.tell(&Event::Pass { space, number: 1, what: WRITES.into(), bytes });
            locks::clear(self.place, runs, bank, journal, &todo).await?;
            for (at, (sector, erase)) in todo.iter().enumerate() {
                let place = || {
                    let (written, of) = (before + at, format!(" of {}", bank.planned.name));
                    let written = report::of_sectors(written as u64, all as u64, &of);
                    format!("{written}; {RESUME} goes on")
                };
                desk.check().map_err(|error| error.at(place))?;
                let work = sector::Work { place: self.place, powered: self.powered, bank, sector };
                let done = work.write(runs, journal, *erase).await;
                match done.map_err(|error| error.at(place))? {
                    None => report.count(*erase, sector, bank.bytes(sector)),
                    Some(why) => {
                        report.failed.push(FailedSector::new(bank, sector, why));
                        return Ok(true);
                    }
                }
            }
            runs.no_permit(bank.writing.shape).await?;
        }
        Ok(false)
    }
}

/// The words of a sector as the range that checksums are made of.
fn block(sector: &PlannedSector, width: crate::bus::Width) -> Block {
    let size = width.bytes() as u32;
    Block {
        index: sector.number,
        part: 0,
        offset: u64::from(sector.first.0) * u64::from(size),
        bytes: sector.words * size,
        first: sector.first,
    }
}

/// A planned space as a part.
fn part(bank: &Bank<'_>) -> Part {
    let space = bank.planned;
    Part {
        space: space.name.clone(),
        width: space.width,
        base: space.base,
        first: crate::bus::WordAddress(0),
        words: space.words,
    }
}
