//! Cycles by hand: orders from the channel to the job, and what they need before.

use super::handle::Command;
use crate::app::wanted::{Before, Ready, ready};
use crate::chips::Family;
use crate::jobs::{Answer, CycleReport, Desk, Ending, JobError, Next, Order, cycles, with_rail};
use crate::module::{Kind, Sheet, Space};
use crate::shelf::{HistoryLine, Label, OsDisk, Shelf, ShelfError};
use jiff::Timestamp;
use serde::Serialize;
use std::cell::{Cell, RefCell};
use std::fmt;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError};

/// The commands that come in, without those that a stop has made void.
pub(super) struct Orders {
    pub(super) commands: Receiver<(u64, Command)>,
    pub(super) common: Arc<super::handle::Common>,
    /// The number of the command that is being worked off.
    pub(super) present: Cell<u64>,
}

impl Orders {
    fn void(&self) -> &AtomicU64 {
        &self.common.void
    }

    /// The next command that counts; `Err` when the screen's end is gone.
    pub(super) fn try_next(&self) -> Result<Option<Command>, ()> {
        loop {
            match self.commands.try_recv() {
                Ok((number, command)) if self.counts(number, &command) => return Ok(Some(command)),
                Ok(_) => {}
                Err(TryRecvError::Empty) => return Ok(None),
                Err(TryRecvError::Disconnected) => return Err(()),
            }
        }
    }

    /// True if a stop came after the command that is being worked off was given.
    pub(super) fn is_void(&self) -> bool {
        self.present.get() <= self.void().load(Ordering::Acquire)
    }

    /// The same as [`Self::try_next`], waiting for one.
    pub(super) fn next(&self) -> Result<Command, ()> {
        loop {
            let (number, command) = self.commands.recv().map_err(|_| ())?;
            if self.counts(number, &command) {
                return Ok(command);
            }
        }
    }

    fn counts(&self, number: u64, command: &Command) -> bool {
        let ends = matches!(command, Command::Quit | Command::HungUp | Command::RailOff);
        let counts = ends || number > self.void().load(Ordering::Acquire);
        if counts {
            self.present.set(number);
        }
        counts
    }
}

/// What came of a time with the rail on.
#[derive(Serialize)]
#[serde(transparent)]
pub(super) struct HandReport(CycleReport);

impl fmt::Display for HandReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// The rail on, and orders followed until another command comes, which is put into `left`.
pub(super) async fn by_hand(
    desk: &Desk<'_>,
    before: Before<'_>,
    root: &Path,
    orders: &Orders,
    left: &RefCell<Option<Command>>,
    tell: &mut dyn FnMut(&Answer),
) -> Result<(HandReport, Ending), JobError> {
    let shelf = Shelf::open(Arc::new(OsDisk), root)?;
    let Ready { hello, sheet, access, simulated, specimen, keep } = ready(desk, before).await?;
    let families = families(&shelf, &sheet, specimen.as_ref());
    let refused = RefCell::new(None);
    let next = || match orders.try_next() {
        Ok(Some(Command::Order(order))) => {
            match keeps(&shelf, &sheet, specimen.as_ref(), simulated, &order) {
                Ok(()) => Next::Order(order),
                Err(why) => {
                    *refused.borrow_mut() = Some(Answer::Refused(why));
                    Next::Nothing
                }
            }
        }
        // A second rail-on switches nothing.
        Ok(None | Some(Command::RailOn)) => Next::Nothing,
        Ok(Some(other)) => {
            if !matches!(other, Command::RailOff) {
                *left.borrow_mut() = Some(other);
            }
            Next::End
        }
        Err(()) => Next::End,
    };
    let told = RefCell::new(tell);
    let mut next = || {
        let found = next();
        if let Some(answer) = refused.borrow_mut().take() {
            (told.borrow_mut())(&answer);
        }
        found
    };
    let mut tell = |answer: &Answer| (told.borrow_mut())(answer);
    let report = with_rail(desk, &sheet, &hello, access, async |powered| {
        keep.now();
        cycles(desk, &sheet, &families, powered, hello.sizes, &mut next, &mut tell).await
    })
    .await?;
    if report.writes > 0
        && let Some(specimen) = specimen
    {
        let line = HistoryLine {
            time: Timestamp::now(),
            specimen,
            event: "written-by-hand".into(),
            capture: None,
            sha256: None,
            image_sha256: None,
            bytes: None,
            simulated,
            text: report.to_string(),
        };
        if let Err(error) = shelf.remember(&line) {
            desk.note(format!("the history has no line of this: {error}"));
        }
    }
    Ok((HandReport(report), Ending::Good))
}

/// The families that the chips of each space may follow, by what they last answered. Old parts take
/// the unlock cycles of each other; those that load pages want more address lines than the short
/// cycles have.
fn families(shelf: &Shelf, sheet: &Sheet, specimen: Option<&Label>) -> Vec<&'static [Family]> {
    const SHORT: &[Family] = &[Family::Amd, Family::Jedec];
    const LONG: &[Family] = &[Family::Amd, Family::Jedec, Family::Page];
    let known =
        specimen.and_then(|specimen| shelf.last_identity(specimen, &sheet.sha256()).ok().flatten());
    let of = |space: &Space| {
        let spaces = known.as_ref().map_or(&[][..], |known| &known.spaces);
        match spaces.iter().find(|one| one.name == space.name).and_then(|one| one.family) {
            Some(Family::Intel) => &[Family::Intel][..],
            Some(Family::Amd) => SHORT,
            Some(Family::Jedec | Family::Page) => LONG,
            None => &Family::ALL[..],
        }
    };
    sheet.spaces.iter().map(of).collect()
}

/// Writes by hand are allowed only where nothing can be lost by them: contents that live on a
/// backup cell, or in flash, must be on the shelf, agreed.
fn keeps(
    shelf: &Shelf,
    sheet: &Sheet,
    specimen: Option<&Label>,
    simulated: bool,
    order: &Order,
) -> Result<(), String> {
    let Order::Allow { space, .. } = order else { return Ok(()) };
    let kept = |space: &&Space| space.battery || space.kind == Kind::Flash;
    let Some(space) = sheet.spaces.get(*space).filter(kept) else { return Ok(()) };
    let lives = if space.kind == Kind::Flash { "is flash" } else { "lives on a backup cell" };
    let Some(specimen) = specimen else {
        return Err(format!(
            "{} {lives}, and nobody has said which module this is: name the \
             specimen, then capture it",
            space.name
        ));
    };
    match has_copy(shelf, space, specimen, simulated) {
        Ok(true) => Ok(()),
        Ok(false) => Err(format!(
            "{} of {specimen} {lives}, and no agreed copy of it is on the shelf: \
             capture first. Writes stay locked",
            space.name
        )),
        Err(error) => Err(format!("the shelf cannot tell whether a copy is there: {error}")),
    }
}

/// True if a whole copy of the space, agreed everywhere, is on the shelf.
fn has_copy(
    shelf: &Shelf,
    space: &Space,
    specimen: &Label,
    simulated: bool,
) -> Result<bool, ShelfError> {
    let listing = shelf.list()?;
    let mine = listing.captures.iter().rev();
    for one in mine.filter(|one| one.specimen == *specimen && one.simulated == simulated) {
        let capture = shelf.get(&one.id.to_string(), None)?;
        let whole = capture.record.spaces.iter().any(|kept| {
            kept.name == space.name
                && kept.first.0 == 0
                && kept.words == space.words
                && kept.unsteady.total == 0
        });
        if whole {
            return Ok(true);
        }
    }
    Ok(false)
}
