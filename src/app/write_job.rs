//! Write and resume, from a plan's code to the proof.

use super::begun_at::Port;
use super::capture_job::no_specimen;
use super::chip_files::catalogue;
use super::identify_job::{Keeper, is_unsure, twins};
use super::image::kept_parts;
use super::parts::{Asked, parts};
use super::sheets::refuse_to_identify;
use super::started::{WRITTEN, ask_started};
use super::unsettled::unsettled;
use super::wanted::{Before, Ready, label, ready};
use crate::chips::Catalogue;
use crate::image::{PLAN, PLAN_BACK, VERIFY};
use crate::jobs::{
    Arrival, CaptureRequest, Desk, Desktop, Ending, JobError, Keep, Powered, Twin, VerifyPart,
    WritePlace, WriteReport, WriteRequest, begin, capture, refuse_locked, with_rail_told, write,
};
use crate::module::{Sheet, SpaceAccess};
use crate::shelf::{
    Beginning, Capture, CaptureId, HistoryLine, Journal, Label, LockedSectors, Shelf, ShelfError,
    StoredPlan,
};
use crate::wire::HelloReply;
use jiff::Timestamp;

/// Passes of a backup that is taken because there is none.
const PASSES: u32 = 6;

/// What to write.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WriteOptions {
    /// A plan, by its code.
    Plan {
        /// The code.
        code: String,
        /// The label of the module, typed by whoever wants this.
        confirm: String,
    },
    /// The write of this module that was interrupted.
    Resume,
}

/// Writes a plan to the module, or goes on with a write that was interrupted.
pub(super) async fn write_job(
    desk: &Desk<'_>,
    before: Before<'_>,
    shelf: &Shelf,
    options: &WriteOptions,
) -> Result<(WriteReport, Ending), JobError> {
    let named = match options {
        WriteOptions::Plan { code, confirm } => Some((shelf.plan(&code.parse()?)?, confirm)),
        WriteOptions::Resume => None,
    };
    if let Some((plan, confirmed)) = &named {
        confirmed_for(plan, confirmed)?;
    }
    let port = Port::of(&before);
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let specimen = specimen.ok_or_else(no_specimen)?;
    let (plan, journal) = match named {
        Some((plan, _)) => {
            if let Some(unsettled) = unsettled(shelf, &specimen)? {
                unsettled.refuse_unaware(&plan)?;
            }
            refuse_written(shelf, &plan)?;
            ask_started(desk, shelf, &specimen);
            (plan, None)
        }
        None => interrupted(shelf, &specimen)?,
    };
    same_module(&plan, &sheet, &specimen, simulated)?;
    if let Some(journal) = &journal {
        port.refuse_elsewhere(&hello.board, &journal.told().begin)?;
    }
    let catalogue = catalogue(&plan.plan.chip_files)?;
    refuse_to_identify(&sheet)?;
    let here = Here { desk, shelf, port, hello, sheet, access, simulated, specimen };
    carry_out(&here, &catalogue, &plan, journal, || keep.now()).await
}

/// The module in hand and the shelf.
pub(super) struct Here<'a, 'd> {
    pub desk: &'a Desk<'d>,
    pub shelf: &'a Shelf,
    pub port: Port,
    pub hello: HelloReply,
    pub sheet: Sheet,
    pub access: Vec<SpaceAccess>,
    pub simulated: bool,
    pub specimen: Label,
}

/// Does what a plan says, from rail on to rail off; `powered_up` is called once the rail is on.
pub(super) async fn carry_out(
    here: &Here<'_, '_>,
    catalogue: &Catalogue,
    plan: &StoredPlan,
    journal: Option<Journal>,
    powered_up: impl FnOnce(),
) -> Result<(WriteReport, Ending), JobError> {
    let Here { desk, shelf, hello, sheet, access, specimen, .. } = here;
    let simulated = here.simulated;
    refuse_locked(desk).await?;
    desk.show(&Arrival::Writing { plan, told: journal.as_ref().map(Journal::told) });
    let last = shelf.last_journal(specimen)?;
    let still_unlocked = last.iter().flat_map(|told| {
        told.begin.locked.iter().filter(|locks| told.unlocked(&locks.space)).cloned()
    });
    let still_unlocked = still_unlocked.collect();
    let resumed = journal.is_some();
    let wanted = journal.as_ref().map_or(&plan.plan.backup, |j| &j.told().begin.backup).clone();
    let found = backup(desk, shelf, plan, sheet, &wanted);
    let mut twins = twins(desk, shelf, sheet, simulated);
    for (space, twins) in sheet.spaces.iter().zip(&mut twins) {
        // Every sector is compared by the write itself; only these are known before commands.
        if !is_unsure(space) {
            twins.clear();
        }
    }
    let (report, ending) = with_rail_told(desk, sheet, hello, access.clone(), async |powered| {
        powered_up();
        let keeper = Keeper { desk, sheet, hello, shelf, specimen: Some(specimen), simulated };
        let (id, parts) = match found {
            Some(found) => found,
            None if resumed => {
                return Err(JobError::Safety(format!(
                    "the backup {wanted} of the interrupted write cannot be used, and what the \
                     module held before cannot be read any more; restore the shelf from a backup \
                     of it"
                )));
            }
            None => keeper.everything(powered).await?,
        };
        let request =
            WriteRequest { plan, backup: parts, twins, catalogue, simulated, still_unlocked };
        let port = &here.port.identity;
        let mut desktop = ShelfDesktop { keeper, plan, backup: id, port };
        let place = WritePlace { desk, sheet, hello, access };
        write(&place, powered, &request, journal, &mut desktop).await
    })
    .await?;
    remember(desk, shelf, plan, &report);
    Ok((report, ending))
}

/// Refuses unless the label that was typed is that of the module, letter by letter.
///
/// Labels in other cases mean the same module elsewhere; here a person proves to have read one.
pub(super) fn confirm_label(
    of: &Label,
    typed: &str,
    refused: impl FnOnce(&str) -> String,
) -> Result<(), JobError> {
    let typed = typed.trim();
    if typed == of.to_string() {
        return Ok(());
    }
    Err(JobError::Safety(if label(typed)? == *of {
        format!(
            "{typed} was confirmed, and the label is {of}: both name this module, but whoever \
             confirms types it letter by letter; nothing was changed"
        )
    } else {
        refused(typed)
    }))
}

/// Whoever wants a write types the label of the module that it is for.
fn confirmed_for(plan: &StoredPlan, typed: &str) -> Result<(), JobError> {
    let of = &plan.plan.specimen;
    confirm_label(of, typed, |confirmed| {
        format!(
            "plan {} is for {of}, and {confirmed} was confirmed; read the label on the module, and \
             make a plan for it",
            plan.code
        )
    })?;
    if plan.plan.is_empty() {
        return Err(JobError::Usage(format!("plan {} changes nothing", plan.code)));
    }
    Ok(())
}

/// Refuses the plan that was written last and came to its good end.
fn refuse_written(shelf: &Shelf, plan: &StoredPlan) -> Result<(), JobError> {
    let last = shelf.last_journal(&plan.plan.specimen)?;
    match last.filter(|last| last.begin.plan == plan.code && last.ended() == Some(true)) {
        None => Ok(()),
        Some(last) => Err(JobError::Safety(format!(
            "plan {} is on {} already, since {}: there is nothing to write: {VERIFY} proves \
             it, {PLAN_BACK} leads back",
            plan.code,
            plan.plan.specimen,
            last.begin.time.strftime("%Y-%m-%d")
        ))),
    }
}

/// The write of this module that was interrupted.
fn interrupted(shelf: &Shelf, specimen: &Label) -> Result<(StoredPlan, Option<Journal>), JobError> {
    let none = |why: &str| {
        JobError::Usage(format!("no write of {specimen} was interrupted{why}; {PLAN} begins one"))
    };
    let journal = shelf.open_journal(specimen)?.ok_or_else(|| none(""))?;
    let begin = &journal.told().begin;
    if let Some(good) = journal.told().ended() {
        let how = if good { "came to its end" } else { "ended, and not everything was as planned" };
        return Err(none(&format!(": the last one, of plan {}, {how}", begin.plan)));
    }
    let plan = shelf.plan(&begin.plan)?;
    if plan.sha256 != begin.plan_sha256 {
        return Err(JobError::Safety(format!(
            "plan {} is not the one that this write was begun with",
            begin.plan
        )));
    }
    Ok((plan, Some(journal)))
}

/// Refuses a plan that was made for something else than what is here.
fn same_module(
    plan: &StoredPlan,
    sheet: &Sheet,
    specimen: &Label,
    simulated: bool,
) -> Result<(), JobError> {
    let refuse = |why: String| JobError::Safety(format!("plan {} {why}", plan.code));
    let of = &plan.plan;
    if of.specimen != *specimen {
        return Err(refuse(format!("is for {}, and this is {specimen}", of.specimen)));
    }
    if of.simulated != simulated {
        let what = if of.simulated { "the simulated bench" } else { "a real module" };
        return Err(refuse(format!("was made for {what}, and this is the other")));
    }
    if of.sheet.sha256 != sheet.sha256() {
        return Err(refuse(format!(
            "was made with another text of the sheet {}; make a new plan",
            of.sheet.name
        )));
    }
    Ok(())
}

/// The backup `wanted`, if it is there, whole, agreed and undamaged.
fn backup(
    desk: &Desk<'_>,
    shelf: &Shelf,
    plan: &StoredPlan,
    sheet: &Sheet,
    wanted: &CaptureId,
) -> Option<(CaptureId, Vec<VerifyPart>)> {
    let of = &plan.plan;
    let usable = || -> Result<Vec<VerifyPart>, String> {
        let kept = shelf.get(&wanted.to_string(), None).map_err(|error| error.to_string())?;
        if *wanted == of.backup && kept.record.sha256 != of.backup_sha256 {
            return Err("it is not the one the plan was made with".into());
        }
        let sectors = of.sectors().any(|(_, sector)| sector.in_doubt);
        whole_and_agreed(&kept, sectors)?;
        let content = shelf.content(&kept.id).map_err(|error| error.to_string())?;
        let held = kept_parts(sheet, &kept, None, &content).map_err(|error| error.to_string())?;
        Ok(held.parts)
    };
    match usable() {
        Ok(parts) => Some((wanted.clone(), parts)),
        Err(why) => {
            desk.caution(format!("the backup {wanted} cannot be used: {why}"));
            None
        }
    }
}

/// An error unless a capture is of the whole module, or, with `doubt`, of what is not in doubt, and
/// held still.
fn whole_and_agreed(kept: &Capture, doubt: bool) -> Result<(), String> {
    let mut lacks = kept.record.lacks();
    if doubt {
        lacks.words = None;
    }
    let lacks = lacks.to_string();
    if lacks.is_empty() { Ok(()) } else { Err(format!("{}: {lacks}", kept.id)) }
}

impl Keeper<'_, '_> {
    /// Captures the whole module; refused where it does not hold still.
    async fn everything(
        &self,
        powered: &Powered,
    ) -> Result<(CaptureId, Vec<VerifyPart>), JobError> {
        self.desk.note("the whole module is captured before anything is written");
        let parts = parts(self.sheet, Asked::default())?;
        self.captured(powered, parts, "taken before a write").await
    }

    async fn captured(
        &self,
        powered: &Powered,
        parts: Vec<(usize, crate::shelf::Part)>,
        note: &str,
    ) -> Result<(CaptureId, Vec<VerifyPart>), JobError> {
        let request = CaptureRequest {
            specimen: self.specimen.cloned().ok_or_else(no_specimen)?,
            simulated: self.simulated,
            parts,
            passes: PASSES,
            note: note.into(),
            identified: None,
        };
        let store = begin(self.desk, self.sheet, self.shelf, &request)?;
        let (report, ending) =
            capture(self.desk, self.sheet, self.hello, powered, &request, store).await?;
        if ending != Ending::Good {
            return Err(JobError::Safety(format!(
                "the capture {} did not agree, and without a copy worth keeping nothing is \
                 written: find the reason first. Nothing was changed",
                report.id
            )));
        }
        let kept = self.shelf.get(&report.id, None)?;
        let content = self.shelf.content(&kept.id)?;
        let held = kept_parts(self.sheet, &kept, None, &content)?;
        Ok((kept.id, held.parts))
    }
}

/// What a write needs of the shelf.
struct ShelfDesktop<'a, 'd> {
    keeper: Keeper<'a, 'd>,
    plan: &'a StoredPlan,
    backup: CaptureId,
    port: &'a str,
}

impl Keep for ShelfDesktop<'_, '_> {
    async fn keep(&mut self, powered: &Powered, index: usize) -> Result<Twin, JobError> {
        self.keeper.keep(powered, index).await
    }
}

impl Desktop for ShelfDesktop<'_, '_> {
    async fn keep_ram(
        &mut self,
        powered: &Powered,
        index: usize,
    ) -> Result<(String, Vec<VerifyPart>), JobError> {
        let space = &self.keeper.sheet.spaces[index];
        let asked = Asked { space: Some(&space.name), range: None };
        let parts = parts(self.keeper.sheet, asked)?;
        let (id, parts) = self.keeper.captured(powered, parts, "RAM before a write").await?;
        Ok((id.to_string(), parts))
    }

    fn begin(&mut self, locked: Vec<LockedSectors>) -> Result<Journal, ShelfError> {
        let Keeper { shelf, desk, hello, .. } = self.keeper;
        let StoredPlan { plan, code, sha256, .. } = self.plan;
        let time = Timestamp::now();
        let journal = shelf.begin_journal(Beginning {
            time,
            specimen: plan.specimen.clone(),
            simulated: plan.simulated,
            port: self.port.to_owned(),
            board: hello.board.clone(),
            plan: code.clone(),
            plan_sha256: sha256.clone(),
            backup: self.backup.clone(),
            locked,
        })?;
        let line = HistoryLine {
            time,
            specimen: plan.specimen.clone(),
            event: "write begun".into(),
            capture: Some(plan.leads_back().clone()),
            sha256: None,
            image_sha256: None,
            bytes: None,
            simulated: plan.simulated,
            text: format!("plan {code}: {}", plan.what),
        };
        // The journal counts; a line that cannot be written ends nothing.
        if let Err(error) = shelf.remember(&line) {
            desk.note(format!("the history has no line of this beginning: {error}"));
        }
        Ok(journal)
    }
}

/// The write counts, also where its line cannot be written down.
fn remember(desk: &Desk<'_>, shelf: &Shelf, plan: &StoredPlan, report: &WriteReport) {
    let line = HistoryLine {
        time: Timestamp::now(),
        specimen: plan.plan.specimen.clone(),
        event: if report.proven { WRITTEN } else { "write failed" }.into(),
        capture: Some(plan.plan.leads_back().clone()),
        sha256: Some(plan.plan.target_sha256.clone()),
        image_sha256: Some(plan.plan.image.sha256.clone()),
        bytes: Some(report.bytes),
        simulated: plan.plan.simulated,
        text: report.to_string().lines().next().unwrap_or_default().into(),
    };
    if let Err(error) = shelf.remember(&line) {
        desk.note(format!("the history has no line of this: {error}"));
    }
}
