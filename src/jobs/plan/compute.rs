//! The plan itself, out of its pieces.

use super::Ways;
use super::sectors::{Cut, cut};
use super::target::wanted;
use super::times::{Line, estimate};
use crate::jobs::VerifyPart;
use crate::module::Sheet;
use crate::shelf::{
    CaptureId, ChipFile, ChipRecord, ImageRecord, Label, Plan, PlannedSpace, SheetRecord,
    sha256_hex,
};
use jiff::Timestamp;

/// The layout of plans that this version writes.
const FORMAT: u32 = 1;

/// A flash space that can be written.
pub struct Flash {
    /// Its index in the sheet.
    pub index: usize,
    /// All of its words as the backup has them: little-endian, as long as the space.
    pub now: Vec<u8>,
    /// What its chips allow; the sectors fill the space.
    pub ways: Ways,
    /// Its chips as they were identified.
    pub chips: Vec<ChipRecord>,
}

/// What a plan says of itself.
pub struct Draft {
    /// When it is made, UTC.
    pub time: Timestamp,
    /// The module.
    pub specimen: Label,
    /// The simulated bench's?
    pub simulated: bool,
    /// What it is for, a sentence.
    pub what: String,
    /// Kept zones that are taken from the image all the same, by name.
    pub take: Vec<String>,
    /// The agreed capture of the whole module that it starts from.
    pub backup: CaptureId,
    /// SHA-256 of that capture's content.
    pub backup_sha256: String,
    /// What leads back instead, where a write came to no good end before.
    pub way_back: Option<CaptureId>,
    /// The image.
    pub image: ImageRecord,
    /// Sentences about image and module.
    pub fit: Vec<String>,
    /// Chip files that added parts to the list.
    pub chip_files: Vec<ChipFile>,
}

/// A sector that stays other than the image says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missed {
    /// Its space.
    pub space: String,
    /// Its number.
    pub sector: u32,
    /// Words that differ.
    pub words: u32,
}

/// A plan that has no code yet.
pub struct Computed {
    /// The plan.
    pub plan: Plan,
    /// The contents it aims at, space after space.
    pub target: Vec<u8>,
    /// What stays other than the image says.
    pub missed: Vec<Missed>,
}

/// Computes the plan that brings the words of `image` into the flash spaces `flash`.
///
/// Words that the image does not have, and those of kept zones, stay what the backup says, so that
/// the target is the whole contents of those spaces afterwards. Nothing is looked at but what is
/// given here. `Shelf::keep_plan` stores what comes out.
pub fn compute(
    draft: Draft,
    sheet: &Sheet,
    flash: &[Flash],
    image: &[VerifyPart],
    line: &Line,
) -> Computed {
    let (mut spaces, mut target, mut missed) = (Vec::new(), Vec::new(), Vec::new());
    let mut fit = draft.fit;
    for of in flash {
        let space = &sheet.spaces[of.index];
        let wanted = wanted(sheet, of.index, &of.now, image, &draft.take);
        let Cut { sectors, target: bytes, missed: left } =
            cut(sheet, of.index, &of.ways, &of.now, &wanted);
        missed.extend(left.into_iter().map(|(sector, words)| Missed {
            space: space.name.clone(),
            sector,
            words,
        }));
        if of.ways.unlocks_all && sectors.iter().any(|sector| sector.unlock) {
            fit.push(format!(
                "the chips of {} know one command that unlocks all sectors at once: all locks are \
                 cleared for this, and those that were set are set again",
                space.name
            ));
        }
        spaces.push(PlannedSpace {
            name: space.name.clone(),
            width: space.width,
            base: space.base,
            words: space.words,
            offset: target.len() as u64,
            chips: of.chips.clone(),
            sectors,
        });
        target.extend(bytes);
    }
    let reckoned: Vec<_> = spaces.iter().zip(flash.iter().map(|of| &of.ways)).collect();
    let estimate = estimate(&reckoned, line);
    let plan = Plan {
        format: FORMAT,
        time: draft.time,
        specimen: draft.specimen,
        simulated: draft.simulated,
        what: draft.what,
        take: draft.take,
        backup: draft.backup,
        backup_sha256: draft.backup_sha256,
        way_back: draft.way_back,
        target_sha256: sha256_hex(&target),
        fit,
        left: Vec::new(),
        estimate,
        image: draft.image,
        sheet: SheetRecord {
            name: sheet.name.clone(),
            sha256: sheet.sha256(),
            text: sheet.text.clone(),
        },
        chip_files: draft.chip_files,
        spaces,
    };
    Computed { plan, target, missed }
}
