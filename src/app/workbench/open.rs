//! Opening a PORT for as long as the workbench keeps it.

use super::handle::Attention;
use super::paced_sim::PacedSim;
use crate::app::ports::{DEFAULT_BENCH, builtin_bench, identity, load_bench};
use crate::app::{Known, OpenPort, OpenPortError, PortName, open_port};
use crate::link::{Port, RatePlan};
use crate::sim::BenchDescription;
use std::sync::Arc;

/// A port that stays open from job to job.
pub(super) struct Opened {
    pub(super) port: Box<dyn Port>,
    pub(super) attention: Attention,
    pub(super) plan: RatePlan,
    pub(super) identity: String,
    pub(super) bench: Option<BenchDescription>,
}

/// Opens `name`; a simulated bench is in real time here.
pub(super) fn open(name: &PortName, known: &Known) -> Result<Opened, OpenPortError> {
    if name.is_sim() {
        let (description, bench) = match name {
            PortName::SimFile(file) => load_bench(file)?,
            _ => builtin_bench(DEFAULT_BENCH)?,
        };
        let (port, attention) = PacedSim::new(bench);
        return Ok(Opened {
            port: Box::new(port),
            attention,
            plan: RatePlan::default(),
            identity: identity(name),
            bench: Some(description),
        });
    }
    let OpenPort { port, attention, plan, identity, bench } =
        open_port(name, |identity| known.rate(identity))?;
    let attention: Attention = match attention {
        Some(attention) => Arc::new(move || attention.call()),
        None => Arc::new(|| ()),
    };
    Ok(Opened { port, attention, plan, identity, bench })
}
