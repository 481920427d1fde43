//! From what was found to the plan on the shelf and its report.

use super::fit::{cautions, in_words, of_chip_file, sentences, where_it_worked};
use super::{Looked, Source, Subject};
use crate::app::parts::{Asked, parts};
use crate::image::{counted, one_line};
use crate::jobs::{
    Arrival, BLANK, Computed, Draft, Ending, Flash, JobError, Line, PlanReport, SpacePlan,
    VerifyPart, compute, missed, other_order, wanted, ways,
};
use crate::module::Kind;
use crate::shelf::{Action, HistoryLine, Plan};
use jiff::Timestamp;

/// The flash spaces that can be written, and what keeps the others from it.
struct Spaces {
    flash: Vec<Flash>,
    /// The chips of each, in words.
    chips: Vec<String>,
    /// What of the image does not get onto the module, and why.
    left: Vec<String>,
    /// How many words that are.
    words_left: u64,
    /// How many words of the image differ in zones that keep theirs.
    words_kept: u64,
}

/// Makes the plan that brings `source` onto the module that was looked at, and keeps it.
///
/// Nothing to do is a good answer, without a plan. Where nothing of what differs can be written,
/// it is refused; where only a part can, the answer is no, and the plan of that part is kept.
pub(in crate::app) fn assemble(
    subject: &Subject<'_, '_>,
    looked: &Looked,
    source: Source,
) -> Result<(PlanReport, Ending), JobError> {
    let Subject { sheet, specimen, simulated, shelf, unsettled, chip_files, .. } = *subject;
    let time = Timestamp::now();
    let before = match unsettled {
        Some(unsettled) => unsettled.before(shelf, sheet)?,
        None => Vec::new(),
    };
    let Spaces { flash, chips, mut left, mut words_left, words_kept } =
        spaces(subject, looked, &source, (time, &before));
    let backup = &looked.backup;
    let draft = Draft {
        time,
        specimen: specimen.clone(),
        simulated,
        fit: sentences(sheet, specimen, &source, &looked.found),
        what: source.what,
        take: source.take,
        backup: backup.id.clone(),
        backup_sha256: backup.sha256.clone(),
        way_back: unsettled.map(|unsettled| unsettled.way_back.clone()),
        image: source.image,
        chip_files: chip_files.to_vec(),
    };
    let line = line(subject)?;
    let Computed { mut plan, target, missed: sectors_left } =
        compute(draft, sheet, &flash, &source.parts, &line);
    if plan.image.name != BLANK {
        plan.fit.extend(where_it_worked(shelf, &[&plan.image.sha256, &plan.target_sha256])?);
    }
    plan.fit.extend(chip_files.iter().map(of_chip_file));
    words_left += sectors_left.iter().map(|missed| u64::from(missed.words)).sum::<u64>();
    left.extend(missed(&plan.spaces, &sectors_left));
    plan.left.clone_from(&left);
    if plan.is_empty() && words_left > 0 {
        return Err(JobError::Safety(format!(
            "nothing of {} that differs can be written to {specimen}: {}",
            one_line(&plan.image.name),
            left.join("; ")
        )));
    }
    let changing =
        || plan.sectors().filter(|(_, of)| matches!(of.action, Action::Program | Action::Erase));
    let report = PlanReport {
        what: plan.what.clone(),
        code: None,
        specimen: specimen.to_string(),
        simulated,
        backup: plan.leads_back().to_string(),
        backup_is_new: backup.new && plan.way_back.is_none(),
        backup_equals: plan.way_back.is_none(),
        sectors: changing().count() as u64,
        bytes: changing()
            .map(|(space, of)| u64::from(of.programmed) * space.width.bytes() as u64)
            .sum(),
        spaces: plan
            .spaces
            .iter()
            .zip(chips)
            .map(|(of, chips)| SpacePlan::new(of, chips))
            .collect(),
        left,
        words_left,
        words_kept,
        fit: plan.fit.clone(),
        times: None,
        cautions: Vec::new(),
        next: None,
    };
    if plan.is_empty() {
        subject.desk.show(&Arrival::Planned { plan: &plan, report: &report });
        return Ok((report, Ending::Good));
    }
    let ending = if words_left == 0 { Ending::Good } else { Ending::No };
    Ok((keep(subject, report, plan, target)?, ending))
}

fn spaces(
    subject: &Subject<'_, '_>,
    looked: &Looked,
    source: &Source,
    (time, before): (Timestamp, &[VerifyPart]),
) -> Spaces {
    let Subject { sheet, desk, unsettled, .. } = *subject;
    let (flash, chips, left) = (Vec::new(), Vec::new(), Vec::new());
    let mut spaces = Spaces { flash, chips, left, words_left: 0, words_kept: 0 };
    let keeping = sheet.zones.iter().filter(|zone| zone.keep).map(|zone| zone.name.clone());
    let all: Vec<_> = source.take.iter().cloned().chain(keeping).collect();
    for ((index, space), found) in sheet.spaces.iter().enumerate().zip(&looked.found.spaces) {
        if space.kind != Kind::Flash {
            continue;
        }
        let mut now = looked.backup.words_of(space);
        let mut ways = ways(space, sheet.rail, found, subject.catalogue);
        if let Some(unsettled) = unsettled {
            let sectors = ways.as_mut().map_or(&mut [][..], |ways| &mut ways.sectors);
            unsettled.mark(sheet, index, before, &mut now, sectors);
        }
        let image = wanted(sheet, index, &now, &source.parts, &source.take);
        if let Some(order) = other_order(space.width, &now, &image) {
            desk.caution(format!("{}: {order}", space.name));
        }
        let size = space.width.bytes();
        let differ = |one: &[u8], two: &[u8]| {
            let pairs = one.chunks(size).zip(two.chunks(size));
            pairs.filter(|(one, two)| one != two).count() as u64
        };
        let whole = wanted(sheet, index, &now, &source.parts, &all);
        spaces.words_kept += differ(&image, &whole);
        match ways {
            Ok(ways) => {
                let chips = found.chips.iter().map(|chip| chip.record(Some(time))).collect();
                spaces.flash.push(Flash { index, now, ways, chips });
                spaces.chips.push(in_words(found));
            }
            Err(why) => {
                let differ = differ(&now, &image);
                if differ > 0 {
                    spaces.words_left += differ;
                    spaces.left.push(format!(
                        "{} cannot be written here: {why}. The image differs there in {}",
                        space.name,
                        counted(differ, "word")
                    ));
                }
            }
        }
    }
    spaces
}

/// What the estimate must know of line and module.
fn line(subject: &Subject<'_, '_>) -> Result<Line, JobError> {
    let sheet = subject.sheet;
    let whole = parts(sheet, Asked::default())?;
    let ram = whole.iter().filter(|(index, _)| sheet.spaces[*index].kind == Kind::Ram);
    Ok(Line {
        baud: subject.desk.client.baud(),
        clock_hz: subject.hello.clock_hz,
        ram_bytes: ram.clone().map(|(_, part)| part.bytes()).sum(),
        ram_words: ram.map(|(_, part)| u64::from(part.words)).sum(),
    })
}

/// Keeps a plan under its code and writes it into the history.
fn keep(
    subject: &Subject<'_, '_>,
    mut report: PlanReport,
    plan: Plan,
    target: Vec<u8>,
) -> Result<PlanReport, JobError> {
    let Subject { specimen, simulated, shelf, desk, .. } = *subject;
    report.cautions = cautions(&plan, &report);
    let stored = shelf.keep_plan(plan, target)?;
    let code = stored.code.to_string();
    report.times = Some(stored.plan.estimate);
    report.next = Some(format!("buswright write {code} --confirm \"{specimen}\""));
    let line = HistoryLine {
        time: stored.plan.time,
        specimen: specimen.clone(),
        event: "planned".into(),
        capture: Some(stored.plan.backup.clone()),
        sha256: Some(stored.plan.target_sha256.clone()),
        image_sha256: Some(stored.plan.image.sha256.clone()),
        bytes: Some(report.bytes),
        simulated,
        text: format!("plan {code}: {}", report.what),
    };
    if let Err(error) = shelf.remember(&line) {
        desk.note(format!("the history has no line of this: {error}"));
    }
    report.code = Some(code);
    desk.show(&Arrival::Planned { plan: &stored.plan, report: &report });
    Ok(report)
}
