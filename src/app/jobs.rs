//! The jobs that commands and the workbench start.

use super::capture_job::capture_job;
use super::erase_job::{EraseOptions, erase_job};
use super::identify_job::{IdentifyOptions, identify_job};
use super::image::ImageName;
use super::plan_job::{PlanOptions, plan_job};
use super::verify_job::verify_job;
use super::wanted::{Before, Wanted};
use super::write_job::{WriteOptions, write_job};
use super::{Event, Known, Outcome};
use crate::jobs::{
    Arrival, CaptureReport, Desk, IdentifyReport, JobError, PlanReport, VerifyReport, WriteReport,
    run,
};
use crate::link::{Cancel, Client, Port, RatePlan, Session, drive};
use crate::shelf::{Disk, OsDisk, Shelf};
use crate::sim::BenchDescription;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a job runs on.
pub struct Machine<'a> {
    /// The open port.
    pub port: &'a mut dyn Port,
    /// Which rates to try.
    pub plan: RatePlan,
    /// By what the adapter is remembered.
    pub identity: &'a str,
    /// The simulated bench inside this program.
    pub bench: Option<&'a BenchDescription>,
    /// What this machine remembers.
    pub known: &'a mut Known,
    /// Asked to stop through this.
    pub cancel: Cancel,
    /// The folder of captures.
    pub shelf: &'a Path,
}

/// How to capture.
#[derive(Clone, Debug)]
pub struct CaptureOptions {
    /// Only this space.
    pub space: Option<String>,
    /// Only this range of it, as people write it.
    pub range: Option<String>,
    /// Passes at most.
    pub passes: u32,
    /// Also copy the content to this file.
    pub out: Option<PathBuf>,
    /// Said by the person who takes it.
    pub note: String,
}

impl Default for CaptureOptions {
    fn default() -> Self {
        Self { space: None, range: None, passes: 6, out: None, note: String::new() }
    }
}

/// A job.
#[derive(Clone, Debug)]
pub enum Job {
    /// Look at every space and ask the chips of its flash.
    Identify(IdentifyOptions),
    /// Read to agreement and keep the copy.
    Capture(CaptureOptions),
    /// Compare the module with an image.
    Verify {
        /// A path, a shelf id, or `@last`.
        image: String,
        /// Only this space.
        space: Option<String>,
        /// A file holds only this range of the space, as people write it.
        range: Option<String>,
        /// An image from the simulated bench may stand for a real module.
        accept_simulated: bool,
    },
    /// Do what a plan says, or go on with that.
    Write(WriteOptions),
    /// Erase sectors.
    Erase(EraseOptions),
    /// Compute what writing an image would do, and keep that as a plan.
    Plan(PlanOptions),
}

/// Runs `job` to its one outcome and tells `sink` what happens.
pub fn run_job(
    machine: &mut Machine<'_>,
    wanted: &Wanted,
    job: &Job,
    sink: &mut dyn FnMut(&Event),
) -> Outcome {
    run_on_disk(machine, wanted, job, sink, Arc::new(OsDisk))
}

/// The same with the shelf on `disk`.
pub(super) fn run_on_disk(
    machine: &mut Machine<'_>,
    wanted: &Wanted,
    job: &Job,
    sink: &mut dyn FnMut(&Event),
    shelf_disk: Arc<dyn Disk>,
) -> Outcome {
    run_shown(machine, wanted, job, sink, &mut |_| (), shelf_disk)
}

/// The same for a screen that wants to see what arrives.
pub(super) fn run_shown(
    machine: &mut Machine<'_>,
    wanted: &Wanted,
    job: &Job,
    sink: &mut dyn FnMut(&Event),
    screen: &mut dyn FnMut(&Arrival<'_>),
    shelf_disk: Arc<dyn Disk>,
) -> Outcome {
    // A session number is random and never 0, which means "no session" on the wire.
    let client = Client::new(Session::new(fastrand::u32(1..), machine.plan.first()));
    let desk = Desk::new(client.clone(), machine.cancel.clone(), sink).with_screen(screen);
    let before = Before {
        wanted,
        plan: machine.plan,
        identity: machine.identity,
        known: &mut *machine.known,
        bench: machine.bench,
    };
    let root = machine.shelf;
    let whole = run(&desk, async {
        let shelf = Shelf::open(shelf_disk, root).map_err(JobError::from)?;
        match job {
            Job::Identify(options) => {
                let (report, ending) = identify_job(&desk, before, &shelf, options).await?;
                Ok((Report::Identify(report), ending))
            }
            Job::Capture(options) => {
                let (report, ending) = capture_job(&desk, before, &shelf, options).await?;
                Ok((Report::Capture(Box::new(report)), ending))
            }
            Job::Verify { image, space, range, accept_simulated } => {
                let image = ImageName { image, space: space.as_deref(), range: range.as_deref() };
                let (report, ending) =
                    verify_job(&desk, before, &shelf, image, *accept_simulated).await?;
                Ok((Report::Verify(report), ending))
            }
            Job::Write(options) => {
                let (report, ending) = write_job(&desk, before, &shelf, options).await?;
                Ok((Report::Write(report), ending))
            }
            Job::Erase(options) => {
                let (report, ending) = erase_job(&desk, before, &shelf, options).await?;
                Ok((Report::Erase(report), ending))
            }
            Job::Plan(options) => {
                let (report, ending) = plan_job(&desk, before, &shelf, options).await?;
                Ok((Report::Plan(Box::new(report)), ending))
            }
        }
    });
    let outcome = drive(&client, &mut *machine.port, &machine.cancel, whole);
    desk.show(&Arrival::Link(client.stats()));
    outcome
}

#[derive(Serialize)]
#[serde(tag = "job", rename_all = "kebab-case")]
enum Report {
    Identify(IdentifyReport),
    Capture(Box<CaptureReport>),
    Verify(VerifyReport),
    Write(WriteReport),
    Erase(WriteReport),
    Plan(Box<PlanReport>),
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Identify(report) => report.fmt(f),
            Self::Capture(report) => report.fmt(f),
            Self::Verify(report) => report.fmt(f),
            Self::Write(report) | Self::Erase(report) => report.fmt(f),
            Self::Plan(report) => report.fmt(f),
        }
    }
}
