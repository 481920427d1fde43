//! What a capture has found, its doubts and its record.

use super::{CaptureReport, Work};
use crate::image::{
    Doubt, DoubtKind, SpaceView, Unsteady, UnsteadyWord, counted, doubts, word_text,
};
use crate::jobs::blocks::Conditions;
use crate::jobs::{Ending, JobError};
use crate::module::{Sheet, Space, Zone};
use crate::shelf::{
    AdapterRecord, Block, ChipRecord, DoubtRecord, Identified, LinkRecord, Part, PassRecord,
    Record, UnsteadyRecord,
};
use jiff::Timestamp;
use std::collections::BTreeMap;

/// What reading one block again has found.
#[derive(Debug, Default)]
struct BlockFinding {
    unsteady: Unsteady,
    agreed: bool,
    /// The last pass made.
    passes: u32,
}

/// What was found in one part, by block.
#[derive(Debug, Default)]
pub(super) struct Findings {
    blocks: BTreeMap<u32, BlockFinding>,
}

impl Findings {
    /// A block was read again; what was known of it before is replaced.
    pub(super) fn put(&mut self, block: &Block, unsteady: Unsteady, agreed: bool, passes: u32) {
        self.blocks.insert(block.index, BlockFinding { unsteady, agreed, passes });
    }

    /// An earlier run of this capture had found this.
    pub(super) fn remember(&mut self, block: &Block, word: UnsteadyWord, agreed: bool) {
        let finding = self.blocks.entry(block.index).or_default();
        finding.agreed = agreed;
        if finding.unsteady.words.iter().all(|known| known.address != word.address) {
            finding.unsteady.add(word);
        }
    }

    /// Pass two agrees with the copy.
    pub(super) fn agreed(&mut self, block: &Block) {
        if let Some(finding) = self.blocks.get_mut(&block.index) {
            finding.agreed = true;
        }
    }

    /// Blocks that no two passes gave alike.
    fn unsettled(&self) -> usize {
        self.blocks.values().filter(|finding| !finding.agreed).count()
    }

    fn record(&self) -> UnsteadyRecord {
        let mut all = Unsteady::default();
        let mut total = 0;
        let mut settled = Vec::new();
        for finding in self.blocks.values() {
            total += finding.unsteady.total;
            for word in &finding.unsteady.words {
                if finding.agreed {
                    settled.push(word.address);
                }
                all.add(word.clone());
            }
            all.bits |= finding.unsteady.bits;
        }
        all.total = total;
        UnsteadyRecord::new(&all, |address| settled.contains(&address))
    }

    /// How many blocks each pass from the third on has read.
    fn reread_by(&self, pass: u32) -> u32 {
        self.blocks.values().filter(|finding| finding.passes >= pass).count() as u32
    }

    fn last_pass(&self) -> u32 {
        self.blocks.values().map(|finding| finding.passes).max().unwrap_or(0).max(2)
    }
}

/// Writes the record and puts the capture on the shelf.
pub(super) fn finish(
    work: Work<'_, '_>,
    findings: &[Findings],
) -> Result<(CaptureReport, Ending), JobError> {
    let mut start =
        Record::new(work.store.start(), &work.sheet.name, &work.sheet.text, Timestamp::now());
    start.note.clone_from(&work.request.note);
    start.adapter = AdapterRecord {
        board: work.hello.board.clone(),
        firmware: work.hello.firmware.clone(),
        boot_ids: vec![format!("{:08x}", work.hello.boot_id)],
        rates: work.desk.client.baud().map(|rate| rate.0).into_iter().collect(),
    };
    let link = work.desk.client.stats();
    start.link = LinkRecord {
        sent: link.frames_sent,
        received: link.frames_received,
        damaged: link.frames_damaged,
        stray: link.frames_stray,
        repeated: link.repeats,
        bytes_sent: link.bytes_sent,
        bytes_received: link.bytes_received,
    };
    let mut doubted = Vec::new();
    for (part, findings) in findings.iter().enumerate() {
        let (index, of) = work.part(part);
        let space = &work.sheet.spaces[index];
        let record = &mut start.spaces[part];
        let bytes = &work.content[record.offset as usize..][..record.bytes as usize];
        let lanes = lanes(space);
        let found = doubts(&SpaceView { name: &of.space, width: of.width, bytes, lanes: &lanes });
        record.kind = space.kind.word().to_string();
        record.chips = chips(work.request.identified.as_ref(), space);
        record.passes = passes(&work, part, findings);
        record.blocks_unsettled = findings.unsettled() as u32;
        record.unsteady = findings.record();
        // What passes gave differently was not the same in every word.
        let moved = |line: &u8| record.unsteady.lines.contains(&format!("D{line}"));
        let holds = |doubt: &&Doubt| match &doubt.kind {
            DoubtKind::LineConstant { line, .. } => !moved(line),
            DoubtKind::LineFollows { line, other, .. } => !moved(line) && !moved(other),
            _ => true,
        };
        record.doubts = found.iter().filter(holds).map(DoubtRecord::from).collect();
        record.doubts.extend(live_doubts(work.sheet, index, of));
        doubted.extend(record.doubts.iter().map(|doubt| doubt.text.clone()));
    }
    let unsettled: usize = findings.iter().map(Findings::unsettled).sum();
    let unsteady: u64 = start.spaces.iter().map(|space| space.unsteady.total).sum();
    let summary: Vec<_> = start.spaces.iter().map(unsteady_sentence).collect();
    let (specimen, bytes) = (start.specimen.to_string(), start.bytes);
    let resumed = work.store.resumed();
    let finished = work.store.finish(start)?;
    if let Some(trouble) = &finished.trouble {
        work.desk.note(trouble.to_string());
    }
    let report = CaptureReport {
        id: finished.id.to_string(),
        folder: finished.folder.display().to_string(),
        specimen,
        simulated: work.request.simulated,
        bytes,
        sha256: finished.sha256,
        blocks_unsettled: unsettled,
        words_unsteady: unsteady,
        unsteady: summary.into_iter().flatten().collect(),
        doubts: doubted,
        resumed,
        link: link.word(),
        link_stats: link,
    };
    Ok((report, if unsettled == 0 { Ending::Good } else { Ending::No }))
}

/// What was read once and compared with nothing.
fn live_doubts(sheet: &Sheet, space: usize, part: &Part) -> Vec<DoubtRecord> {
    let start = part.base.plus(part.first.0);
    let last = start.plus(part.words - 1);
    let live = sheet.zones_of(space).filter(|zone| zone.live);
    let inside = live.filter(|zone| zone.start <= last && zone.last() >= start);
    let doubt = |zone: &Zone| DoubtRecord {
        kind: "live".to_owned(),
        text: format!(
            "{}: zone {} ({}+0x{:X}) changes by itself, so it was read once and compared with \
             nothing",
            part.space, zone.name, zone.start, zone.words
        ),
    };
    inside.map(doubt).collect()
}

fn lanes(space: &Space) -> Vec<(String, crate::bus::Lane)> {
    space.chips.iter().map(|chip| (chip.reference.clone(), chip.lane)).collect()
}

/// The chips as they were last identified, or as nobody has looked at them.
fn chips(identified: Option<&Identified>, space: &Space) -> Vec<ChipRecord> {
    let named = identified.and_then(|last| last.spaces.iter().find(|one| one.name == space.name));
    let chip = |(chip, lane): (String, crate::bus::Lane)| {
        let new = ChipRecord::new(&chip, lane);
        let same = |known: &&ChipRecord| (&known.chip, &known.lane) == (&new.chip, &new.lane);
        named.and_then(|one| one.chips.iter().find(same)).cloned().unwrap_or(new)
    };
    lanes(space).into_iter().map(chip).collect()
}

fn passes(work: &Work<'_, '_>, part: usize, findings: &Findings) -> Vec<PassRecord> {
    let (space, _) = work.part(part);
    let blocks = work.blocks(part).len() as u32;
    let (plain, slow) = work.powered.times[space];
    (1..=findings.last_pass())
        .map(|number| {
            let how = Conditions::of_pass(number);
            let access = u32::from(if how.slow { slow.pulse } else { plain.pulse });
            let mut pass = if number == 2 {
                PassRecord::checksums(number, how.precharge, how.step(), access)
            } else {
                PassRecord::words(number, how.precharge, how.step(), access)
            };
            pass.blocks = if number <= 2 { blocks } else { findings.reread_by(number) };
            pass
        })
        .collect()
}

fn unsteady_sentence(space: &crate::shelf::SpaceRecord) -> Option<String> {
    let first = space.unsteady.words.first()?;
    let at = space.base.plus(first.address.0);
    Some(format!(
        "{} of {} did not hold still, on {}; the first is word {at} ({})",
        counted(space.unsteady.total, "word"),
        space.name,
        space.unsteady.lines.join(", "),
        first
            .seen
            .iter()
            .map(|&value| word_text(space.width, value))
            .collect::<Vec<_>>()
            .join(" / "),
    ))
}
