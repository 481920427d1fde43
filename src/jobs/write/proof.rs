//! Checksums that stand before and after a write: is it the module that is meant, and does it hold
//! what it should?

use super::bank::Bank;
use super::{CHECKS_AFTER, CHECKS_BEFORE, Desktop, Place, WriteRequest, block, part};
use crate::bus::Digest;
use crate::image::RESUME;
use crate::jobs::blocks::{Conditions, Reach};
use crate::jobs::reading::digest_blocks;
use crate::jobs::{BlockState, Event, JobError, Powered, VerifyPart};
use crate::module::Kind;
use crate::shelf::{Action, Block, PlannedSector, Stage, Told, cut_blocks};

/// What spaces beside the planned ones held before.
pub(super) struct Expected {
    /// Their words.
    parts: Vec<VerifyPart>,
    /// Captures that were taken for it.
    pub captured: Vec<String>,
}

/// The sectors that may be looked at.
fn looked_at<'a>(bank: &'a Bank<'_>) -> impl Iterator<Item = &'a PlannedSector> {
    bank.planned.sectors.iter().filter(|sector| sector.action != Action::Leave)
}

/// Has the adapter make the checksum of each sector and compares it with that of `expected`; those
/// that differ.
async fn differing<'a>(
    place: &Place<'_, '_>,
    powered: &Powered,
    bank: &Bank<'_>,
    sectors: &[&'a PlannedSector],
    pass: u32,
    expected: impl Fn(&PlannedSector) -> Vec<u8>,
    what: &str,
) -> Result<Vec<&'a PlannedSector>, JobError> {
    let how = Conditions::of_pass(pass);
    let width = bank.planned.width;
    let nonce = fastrand::u16(..);
    let reach = Reach::new(powered, place.hello, bank.index, &part(bank), how, nonce);
    let blocks: Vec<_> = sectors.iter().map(|sector| block(sector, width)).collect();
    let bytes = sectors.iter().map(|sector| bank.bytes(sector)).sum();
    let space = bank.planned.name.clone();
    place.desk.tell(&Event::Pass { space, number: pass, what: what.into(), bytes });
    let mut differing = Vec::new();
    digest_blocks(place.desk, &reach, &blocks, |block, digest| {
        let Some(sector) = sectors.iter().find(|sector| sector.number == block.index) else {
            return;
        };
        let same = digest == Digest::of(width, &expected(sector), how.down);
        tell(place, bank, block, if same { BlockState::Same } else { BlockState::Differs });
        if !same {
            differing.push(*sector);
        }
    })
    .await?;
    Ok(differing)
}

fn tell(place: &Place<'_, '_>, bank: &Bank<'_>, block: &Block, state: BlockState) {
    place.desk.tell(&Event::Block {
        space: bank.planned.name.clone(),
        address: bank.planned.base.plus(block.first.0).0,
        bytes: block.bytes,
        state,
    });
}

/// Refuses unless every sector holds what plan, backup and journal say that it holds now.
pub(super) async fn before(
    place: &Place<'_, '_>,
    powered: &Powered,
    banks: &[Bank<'_>],
    told: Option<&Told>,
) -> Result<(), JobError> {
    for bank in banks {
        let stage = |sector: &PlannedSector| {
            told.map_or(Stage::Waiting, |told| told.stage(&bank.planned.name, sector.number))
        };
        for sector in looked_at(bank) {
            let (before, after) = (bank.before(sector), bank.target(sector));
            let sum = |bytes| Digest::of(bank.planned.width, bytes, false).crc;
            let begins = sector.in_doubt || sum(before) == sector.before;
            if !begins || sum(after) != sector.after {
                return Err(JobError::Safety(format!(
                    "sector {} of {}: the backup does not hold what the plan says it held; make a \
                     new plan",
                    sector.number, bank.planned.name
                )));
            }
        }
        // What is in hand may read anything: it is erased again.
        let known = |sector: &&PlannedSector| match stage(sector) {
            Stage::Waiting => !sector.in_doubt,
            stage => stage == Stage::Written,
        };
        let sectors: Vec<_> = looked_at(bank).filter(known).collect();
        let expected = |sector: &PlannedSector| match stage(sector) {
            Stage::Written => bank.target(sector).to_vec(),
            _ => bank.before(sector).to_vec(),
        };
        let wrong = differing(place, powered, bank, &sectors, 1, expected, CHECKS_BEFORE).await?;
        if let Some(first) = wrong.first() {
            let hint = if told.is_some() {
                "it is another module, or it was changed since the write was interrupted: capture \
                 it and make a new plan"
                    .to_owned()
            } else {
                format!(
                    "it is another module with the same chips, or it was changed since the plan \
                     was made (an interrupted write: {RESUME}); make a new plan for what is there"
                )
            };
            return Err(JobError::Safety(format!(
                "sector {} of {} (words {}+0x{:X}){} not hold what {} should hold before the write: \
                 {hint}. Nothing was changed",
                first.number,
                bank.planned.name,
                bank.at(first),
                first.words,
                others_do(wrong.len()),
                if wrong.len() > 1 { "they" } else { "it" }
            )));
        }
    }
    Ok(())
}

fn others_do(count: usize) -> String {
    if count > 1 { format!(" and {} more do", count - 1) } else { " does".into() }
}

/// Compares the spaces that are not planned with the backup: RAM that has changed since is
/// captured, anything else refuses.
pub(super) async fn elsewhere(
    place: &Place<'_, '_>,
    powered: &Powered,
    request: &WriteRequest<'_>,
    banks: &[Bank<'_>],
    desktop: &mut impl Desktop,
) -> Result<Expected, JobError> {
    let planned = |index: usize| banks.iter().any(|bank| bank.index == index);
    let mut expected = Expected { parts: Vec::new(), captured: Vec::new() };
    for (index, space) in place.sheet.spaces.iter().enumerate() {
        if planned(index) {
            continue;
        }
        let parts: Vec<_> =
            request.backup.iter().filter(|part| part.space == index).cloned().collect();
        let mut same = true;
        for part in &parts {
            same &= holds(place, powered, part, 1).await?;
        }
        match (same, space.kind) {
            (true, _) => expected.parts.extend(parts),
            (false, Kind::Ram) => {
                place.desk.note(format!(
                    "{} has changed since the backup: it is captured before anything is written",
                    space.name
                ));
                let (id, parts) = desktop.keep_ram(powered, index).await?;
                expected.captured.push(id);
                expected.parts.extend(parts);
            }
            (false, _) => {
                return Err(JobError::Safety(format!(
                    "{} does not hold what the backup says: it is another module, or it was changed \
                     since; make a new plan. Nothing was changed",
                    space.name
                )));
            }
        }
    }
    Ok(expected)
}

/// True if the module holds these words.
async fn holds(
    place: &Place<'_, '_>,
    powered: &Powered,
    part: &VerifyPart,
    pass: u32,
) -> Result<bool, JobError> {
    let how = Conditions::of_pass(pass);
    let nonce = fastrand::u16(..);
    let reach = Reach::new(powered, place.hello, part.space, &part.part, how, nonce);
    let blocks = cut_blocks(std::slice::from_ref(&part.part));
    let mut same = true;
    digest_blocks(place.desk, &reach, &blocks, |block, digest| {
        let from = block.offset as usize;
        let expected = &part.expected[from..from + block.bytes as usize];
        same &= digest == Digest::of(part.part.width, expected, how.down);
    })
    .await?;
    Ok(same)
}

/// After the write and a power cycle: sectors that do not hold what they should, in words.
pub(super) async fn after(
    place: &Place<'_, '_>,
    powered: &Powered,
    banks: &[Bank<'_>],
) -> Result<Vec<String>, JobError> {
    let mut wrong = Vec::new();
    for bank in banks {
        let sectors: Vec<_> = looked_at(bank).collect();
        let expected = |sector: &PlannedSector| match sector.action {
            Action::Program | Action::Erase => bank.target(sector).to_vec(),
            Action::Keep | Action::Locked | Action::Leave => bank.before(sector).to_vec(),
        };
        let found = differing(place, powered, bank, &sectors, 2, expected, CHECKS_AFTER).await?;
        wrong.extend(found.into_iter().map(|sector| {
            format!(
                "sector {} of {} (words {}+0x{:X})",
                sector.number,
                bank.planned.name,
                bank.at(sector),
                sector.words
            )
        }));
    }
    Ok(wrong)
}

/// Spaces beside the planned ones that no longer hold what they held before the write.
pub(super) async fn still(
    place: &Place<'_, '_>,
    powered: &Powered,
    expected: &Expected,
) -> Result<Vec<String>, JobError> {
    let mut changed = Vec::new();
    for part in &expected.parts {
        if !holds(place, powered, part, 2).await? {
            changed
                .push(format!("{} {}+0x{:X}", part.part.space, part.part.first, part.part.words));
        }
    }
    Ok(changed)
}
